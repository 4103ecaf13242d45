//! A drawing as PNG: tiny-skia fills, ttf-parser gives the outlines of letters.

use tiny_skia::{
    FillRule, FilterQuality, LineCap, LineJoin, Mask, Paint, PathBuilder, Pixmap, PixmapPaint,
    Stroke as Pen, StrokeDash, Transform,
};
use ttf_parser::{Face, OutlineBuilder};

use super::draw::{Anchor, Area, Drawing, Mark, Step, Stroke, Text};
use super::ink::Ink;

/// DejaVu Sans, the letters that figures use; `assets/LICENSE-DejaVu.txt`.
const PLAIN: &[u8] = include_bytes!("assets/DejaVuSans-subset.ttf");
const BOLD: &[u8] = include_bytes!("assets/DejaVuSans-Bold-subset.ttf");

/// Largest side of an image, px.
const LARGEST: f64 = 16_384.0;

/// The drawing at `scale` px per unit, on white.
///
/// # Errors
/// Why no image could be made: it would be empty or larger than 16,384 px.
pub fn png(drawing: &Drawing, scale: f64) -> Result<Vec<u8>, String> {
    let (w, h) = ((drawing.width * scale).ceil(), (drawing.height * scale).ceil());
    if !(w >= 1.0 && h >= 1.0 && w <= LARGEST && h <= LARGEST) {
        return Err(format!("an image of {w} by {h} px cannot be made; up to {LARGEST} px can"));
    }
    let mut map = Pixmap::new(w as u32, h as u32).ok_or("no memory for the image")?;
    map.fill(tiny_skia::Color::WHITE);
    let fonts = Fonts::new()?;
    let zoom = Transform::from_scale(scale as f32, scale as f32);
    let mut mask: Option<Mask> = None;
    for mark in &drawing.marks {
        match mark {
            Mark::Path { steps, fill, stroke, opacity } => {
                if let Some(path) = outline(steps) {
                    if let Some(ink) = fill {
                        let paint = paint(*ink, *opacity);
                        map.fill_path(&path, &paint, FillRule::EvenOdd, zoom, mask.as_ref());
                    }
                    if let Some(s) = stroke {
                        map.stroke_path(
                            &path,
                            &paint(s.ink, *opacity),
                            &pen(s),
                            zoom,
                            mask.as_ref(),
                        );
                    }
                }
            }
            Mark::Text(t) => write(&mut map, t, &fonts, zoom, mask.as_ref()),
            Mark::Image { area, columns, rows, rgba } => {
                if let Some(image) = pixels(rgba, *columns, *rows) {
                    let place = Transform::from_row(
                        (area.width / *columns as f64) as f32,
                        0.0,
                        0.0,
                        (area.height / *rows as f64) as f32,
                        area.x as f32,
                        area.y as f32,
                    );
                    let how =
                        PixmapPaint { quality: FilterQuality::Bilinear, ..Default::default() };
                    map.draw_pixmap(
                        0,
                        0,
                        image.as_ref(),
                        &how,
                        place.post_concat(zoom),
                        mask.as_ref(),
                    );
                }
            }
            Mark::Within(a) => mask = window(a, w as u32, h as u32, zoom),
            Mark::Whole => mask = None,
        }
    }
    coded(&map).map_err(|e| format!("the image could not be coded: {e}"))
}

/// As PNG, with filters: maps are smooth and shrink to a third.
fn coded(map: &Pixmap) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, map.width(), map.height());
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Best);
    encoder.set_adaptive_filter(png::AdaptiveFilterType::Adaptive);
    let straight = map.pixels().iter().flat_map(|p| {
        let c = p.demultiply();
        [c.red(), c.green(), c.blue(), c.alpha()]
    });
    let straight: Vec<u8> = straight.collect();
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&straight)?;
    writer.finish()?;
    Ok(bytes)
}

/// Pixels (red, green, blue, alpha, row by row) as PNG.
pub fn png_of(rgba: &[u8], columns: usize, rows: usize) -> Option<Vec<u8>> {
    coded(&pixels(rgba, columns, rows)?).ok()
}

/// Width of a text [px] in the font of the figures.
pub fn text_width(text: &str, size: f64) -> f64 {
    match Face::parse(PLAIN, 0) {
        Ok(face) => advance(&face, text) * size / f64::from(face.units_per_em()),
        Err(_) => 0.6 * size * text.chars().count() as f64,
    }
}

fn advance(face: &Face, text: &str) -> f64 {
    let of = |c: char| face.glyph_index(c).and_then(|g| face.glyph_hor_advance(g));
    let missing = face.units_per_em() / 2;
    text.chars().map(|c| f64::from(of(c).unwrap_or(missing))).sum()
}

struct Fonts<'a> {
    plain: Face<'a>,
    bold: Face<'a>,
}

impl Fonts<'_> {
    fn new() -> Result<Fonts<'static>, String> {
        let face = |data| Face::parse(data, 0).map_err(|e| format!("the font is damaged: {e}"));
        Ok(Fonts { plain: face(PLAIN)?, bold: face(BOLD)? })
    }
}

fn pixels(rgba: &[u8], columns: usize, rows: usize) -> Option<Pixmap> {
    let mut image = Pixmap::new(u32::try_from(columns).ok()?, u32::try_from(rows).ok()?)?;
    for (pixel, c) in image.pixels_mut().iter_mut().zip(rgba.chunks_exact(4)) {
        *pixel = tiny_skia::ColorU8::from_rgba(c[0], c[1], c[2], c[3]).premultiply();
    }
    Some(image)
}

fn window(a: &Area, width: u32, height: u32, zoom: Transform) -> Option<Mask> {
    let rect = tiny_skia::Rect::from_xywh(a.x as f32, a.y as f32, a.width as f32, a.height as f32)?;
    let mut mask = Mask::new(width, height)?;
    mask.fill_path(&PathBuilder::from_rect(rect), FillRule::Winding, true, zoom);
    Some(mask)
}

fn outline(steps: &[Step]) -> Option<tiny_skia::Path> {
    let mut path = PathBuilder::new();
    for step in steps {
        match step {
            Step::Move(x, y) => path.move_to(*x as f32, *y as f32),
            Step::Line(x, y) => path.line_to(*x as f32, *y as f32),
            Step::Close => path.close(),
        }
    }
    path.finish()
}

fn paint(ink: Ink, opacity: f64) -> Paint<'static> {
    let [r, g, b] = ink.rgb();
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color_rgba8(r, g, b, (255.0 * opacity.clamp(0.0, 1.0)).round() as u8);
    paint
}

fn pen(s: &Stroke) -> Pen {
    Pen {
        width: s.width as f32,
        line_join: LineJoin::Round,
        line_cap: LineCap::Butt,
        dash: s.dash.and_then(|[d, g]| StrokeDash::new(vec![d as f32, g as f32], 0.0)),
        ..Pen::default()
    }
}

/// Collects the outlines of letters.
struct Letters {
    path: PathBuilder,
    x: f32,
    scale: f32,
}

impl OutlineBuilder for Letters {
    fn move_to(&mut self, x: f32, y: f32) {
        self.path.move_to(self.x + x * self.scale, -y * self.scale);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.path.line_to(self.x + x * self.scale, -y * self.scale);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (f, s) = (self.x, self.scale);
        self.path.quad_to(f + x1 * s, -y1 * s, f + x * s, -y * s);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (f, s) = (self.x, self.scale);
        self.path.cubic_to(f + x1 * s, -y1 * s, f + x2 * s, -y2 * s, f + x * s, -y * s);
    }
    fn close(&mut self) {
        self.path.close();
    }
}

fn write(map: &mut Pixmap, t: &Text, fonts: &Fonts, zoom: Transform, mask: Option<&Mask>) {
    let face = if t.bold { &fonts.bold } else { &fonts.plain };
    let scale = t.size / f64::from(face.units_per_em());
    let length = advance(face, &t.text) * scale;
    let start = match t.anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => -0.5 * length,
        Anchor::End => -length,
    };
    let mut letters = Letters { path: PathBuilder::new(), x: start as f32, scale: scale as f32 };
    for c in t.text.chars() {
        let step = match face.glyph_index(c) {
            Some(glyph) => {
                face.outline_glyph(glyph, &mut letters);
                face.glyph_hor_advance(glyph).unwrap_or(0)
            }
            None => face.units_per_em() / 2,
        };
        letters.x += f32::from(step) * letters.scale;
    }
    let Some(path) = letters.path.finish() else { return };
    let turn = if t.turned { Transform::from_rotate(-90.0) } else { Transform::identity() };
    let place = turn.post_translate(t.x as f32, t.y as f32).post_concat(zoom);
    if t.halo {
        let rim = Stroke { ink: Ink::Paper, width: 3.0, dash: None };
        map.stroke_path(&path, &paint(rim.ink, 1.0), &pen(&rim), place, mask);
    }
    map.fill_path(&path, &paint(t.ink, 1.0), FillRule::Winding, place, mask);
}
