//! A drawing as SVG 1.1.

use super::draw::{Anchor, Drawing, Mark, Step, Stroke, Text};
use super::escape::{base64, markup};
use super::ink::Ink;
use super::raster::png_of;

/// Fonts tried in turn; the first is the one that PNG uses.
const FONT: &str = "DejaVu Sans, Verdana, Segoe UI, Helvetica, Arial, sans-serif";

/// The drawing as an SVG document: alone (on paper of its own) or as part of a page whose
/// style sheet colours the inks.
pub fn svg(drawing: &Drawing, alone: bool, id: &str) -> String {
    let (w, h) = (short(drawing.width), short(drawing.height));
    let size = if alone { format!(" width=\"{w}\" height=\"{h}\"") } else { String::new() };
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\"{size} viewBox=\"0 0 {w} {h}\" role=\"img\" \
         aria-labelledby=\"{id}-t {id}-d\" font-family=\"{FONT}\">\n<title id=\"{id}-t\">{}</title>\
         <desc id=\"{id}-d\">{}</desc>\n",
        markup(&drawing.title),
        markup(&drawing.about)
    );
    if alone {
        out.push_str(&format!("<rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n"));
    }
    let (mut clips, mut open) = (0, false);
    for mark in &drawing.marks {
        match mark {
            Mark::Path { steps, fill, stroke, opacity } => {
                path(&mut out, steps, *fill, *stroke, *opacity)
            }
            Mark::Text(t) => text(&mut out, t),
            Mark::Image { area, columns, rows, rgba } => {
                let data = png_of(rgba, *columns, *rows).map(|p| base64(&p)).unwrap_or_default();
                out.push_str(&format!(
                    "<image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" \
                     preserveAspectRatio=\"none\" href=\"data:image/png;base64,{data}\"/>\n",
                    short(area.x),
                    short(area.y),
                    short(area.width),
                    short(area.height)
                ));
            }
            Mark::Within(a) => {
                if open {
                    out.push_str("</g>");
                }
                clips += 1;
                open = true;
                out.push_str(&format!(
                    "<clipPath id=\"{id}-c{clips}\"><rect x=\"{}\" y=\"{}\" width=\"{}\" \
                     height=\"{}\"/></clipPath><g clip-path=\"url(#{id}-c{clips})\">\n",
                    short(a.x),
                    short(a.y),
                    short(a.width),
                    short(a.height)
                ));
            }
            Mark::Whole => {
                if open {
                    out.push_str("</g>\n");
                }
                open = false;
            }
        }
    }
    if open {
        out.push_str("</g>\n");
    }
    out.push_str("</svg>\n");
    out
}

/// Two decimals at most, never "-0": the same bytes every time.
pub(super) fn short(v: f64) -> String {
    let text = format!("{v:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_string() } else { text.to_string() }
}

/// Classes by which a page recolours the inks of a mark.
fn classes(fill: Option<Ink>, stroke: Option<Ink>) -> String {
    let fill = fill.and_then(Ink::name).map(|n| format!("f-{n}"));
    let stroke = stroke.and_then(Ink::name).map(|n| format!("s-{n}"));
    let names: Vec<String> = fill.into_iter().chain(stroke).collect();
    if names.is_empty() { String::new() } else { format!(" class=\"{}\"", names.join(" ")) }
}

fn path(out: &mut String, steps: &[Step], fill: Option<Ink>, stroke: Option<Stroke>, alpha: f64) {
    out.push_str("<path d=\"");
    for step in steps {
        match step {
            Step::Move(x, y) => out.push_str(&format!("M{} {}", short(*x), short(*y))),
            Step::Line(x, y) => out.push_str(&format!("L{} {}", short(*x), short(*y))),
            Step::Close => out.push('Z'),
        }
    }
    out.push('"');
    out.push_str(&classes(fill, stroke.map(|s| s.ink)));
    match fill {
        Some(ink) => out.push_str(&format!(" fill=\"{}\" fill-rule=\"evenodd\"", ink.hex())),
        None => out.push_str(" fill=\"none\""),
    }
    if let Some(s) = stroke {
        out.push_str(&format!(
            " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\"",
            s.ink.hex(),
            short(s.width)
        ));
        if let Some([dash, gap]) = s.dash {
            out.push_str(&format!(" stroke-dasharray=\"{} {}\"", short(dash), short(gap)));
        }
    }
    if alpha < 1.0 {
        out.push_str(&format!(" opacity=\"{}\"", short(alpha)));
    }
    out.push_str("/>\n");
}

fn text(out: &mut String, t: &Text) {
    let anchor = match t.anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    let (x, y) = (short(t.x), short(t.y));
    let turn = match t.turned {
        true => format!(" transform=\"rotate(-90 {x} {y})\""),
        false => String::new(),
    };
    let weight = if t.bold { " font-weight=\"bold\"" } else { "" };
    let (halo, rim) = match t.halo {
        true => {
            let rim = " stroke=\"#ffffff\" stroke-width=\"3\" stroke-linejoin=\"round\" \
                       paint-order=\"stroke\"";
            (Some(Ink::Paper), rim)
        }
        false => (None, ""),
    };
    out.push_str(&format!(
        "<text x=\"{x}\" y=\"{y}\"{turn} font-size=\"{}\" text-anchor=\"{anchor}\"{weight}{} \
         fill=\"{}\"{rim}>{}</text>\n",
        short(t.size),
        classes(Some(t.ink), halo),
        t.ink.hex(),
        markup(&t.text)
    ));
}
