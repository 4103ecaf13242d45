//! The self-contained page of one result.

use serde_json::{Value, json};

use super::chart::Chart;
use super::curves;
use super::escape::{base64, markup, script};
use super::ink::{Ramp, magnitude, signed, style_sheet};
use super::section::section;
use super::svg::{short, svg};
use super::tables;
use super::units::duration;
use super::{map_sets, maps};
use crate::case::{Case, read_str};
use crate::experiment::{Sheet, Shown};
use crate::record::RunRecord;

/// Forbids everything that is not in the page itself.
const POLICY: &str = "default-src 'none'; script-src 'unsafe-inline'; \
                      style-src 'unsafe-inline'; img-src data:";

/// A page while it grows: its text and what its script draws.
#[derive(Debug, Default)]
pub(super) struct Page {
    pub html: String,
    pub charts: serde_json::Map<String, Value>,
    pub maps: Vec<Value>,
}

impl Page {
    pub fn put(&mut self, text: &str) {
        self.html.push_str(text);
        self.html.push('\n');
    }

    /// A heading that the navigation links to.
    pub fn heading(&mut self, id: &str, text: &str) {
        self.put(&format!("<h2 id=\"{id}\">{}</h2>", markup(text)));
    }

    /// A chart with legend, reading line and tools; `table` stands in for it.
    pub fn chart(&mut self, chart: &Chart, table: &str) {
        let legend: String = chart
            .series
            .iter()
            .map(|s| {
                let ink = s.ink.name().unwrap_or_default();
                let dash = s
                    .dash
                    .map(|[a, b]| format!(" stroke-dasharray=\"{} {}\"", short(a), short(b)))
                    .unwrap_or_default();
                format!(
                    "<button type=\"button\" aria-pressed=\"true\"><svg viewBox=\"0 0 28 10\" \
                     aria-hidden=\"true\"><path d=\"M0 5H28\" class=\"s-{ink}\" \
                     stroke-width=\"2.4\"{dash}/></svg>{}</button>",
                    markup(&s.name)
                )
            })
            .collect();
        let caption = markup(&chart.title);
        self.put(&format!(
            "<figure data-chart=\"{id}\" id=\"{id}\" aria-label=\"{caption}\"><figcaption><b>\
             {caption}</b></figcaption>\
             <div class=\"bar-top\"><div class=\"legend\" role=\"group\" \
             aria-label=\"Curves shown\">{legend}</div><div class=\"tools\"></div></div>\
             <div class=\"plot\"></div><output aria-live=\"polite\" data-hint=\"Point at the \
             curve, or focus it and use the arrow keys. Drag a box to zoom.\"></output>{table}</figure>",
            id = markup(&chart.id)
        ));
        self.charts.insert(chart.id.clone(), chart.json());
    }

    /// The whole document.
    pub fn finish(self, title: &str) -> String {
        let ramp = |r: Ramp| base64(&r.concat());
        let data = json!({
            "charts": self.charts, "maps": self.maps,
            "ramps": {"magnitude": ramp(magnitude()), "signed": ramp(signed())},
        });
        format!(
            "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <title>{title}</title>\n<style>\n{inks}\n{css}</style>\n</head>\n<body>\n\
             <a class=\"skip\" href=\"#verdict\">To the verdict</a>\n<noscript><p>Charts and \
             maps are drawn by the script in this page; without it the tables hold their \
             values.</p></noscript>\n{body}\
             <script type=\"application/json\" id=\"data\">{data}</script>\n\
             <script>\n{chart}{maps}</script>\n</body>\n</html>\n",
            title = markup(title),
            inks = style_sheet(),
            css = include_str!("assets/page.css"),
            body = self.html,
            data = script(&data.to_string()),
            chart = include_str!("assets/chart.js"),
            maps = include_str!("assets/maps.js"),
        )
    }
}

/// The case that a record holds, as far as it can be read from its text alone.
pub(super) fn case_of(record: &RunRecord) -> Option<Case> {
    read_str(&record.case_text, &record.case_name).ok().map(|read| read.0)
}

/// One result as a page.
pub(super) fn single(record: &RunRecord) -> String {
    let mut page = Page::default();
    let title = if record.title.is_empty() { &record.case_name } else { &record.title };
    page.put("<header>");
    page.put(&format!("<h1>{}</h1>", markup(title)));
    page.put(&format!("<p class=\"under\">{}</p>", markup(&under(record))));
    page.put("</header>\n<main>");
    page.put(&tables::verdict(record));
    page.put(&tables::key_figures(record));
    page.put(&navigation(record));
    page.heading("curves", "Curves");
    for k in 0..record.experiments.len() {
        if let Some(chart) = curves::of_outcome(record, k, &format!("curve-{k}")) {
            page.chart(&chart, &tables::points(record, k));
        }
    }
    page.heading("section", "Cross-section");
    cross_section(&mut page, record, "section-0");
    fields(&mut page, record);
    let sheets = sheets(record);
    if !sheets.is_empty() {
        page.heading("figures", "Further figures");
        for (id, title, sheet) in sheets {
            named(&mut page, sheet, &title, &id);
        }
    }
    page.heading("work", "What was solved");
    page.put(&tables::experiments(record));
    page.put(&tables::warnings(record));
    page.heading("inputs", "Inputs and provenance");
    page.put(&tables::provenance(record));
    page.put(&tables::laws(record));
    page.put(&case_text(record));
    page.put("</main>");
    page.put(&footer());
    page.finish(title)
}

/// Size, place and time of a run in one line.
pub(super) fn under(r: &RunRecord) -> String {
    format!(
        "case {}, {:.2} K ({:.1} °C), width {} µm, {} nodes, holdpoint {}, {}{}",
        r.case_name,
        r.temperature,
        r.temperature - 273.15,
        r.width,
        r.mesh.nodes(),
        r.provenance.version,
        r.provenance.started,
        if r.complete {
            format!(", {}", duration(r.provenance.wall))
        } else {
            ", not complete: interrupted or still running".to_string()
        }
    )
}

fn navigation(record: &RunRecord) -> String {
    let mut links = vec![("curves", "Curves"), ("section", "Cross-section")];
    if !maps::points(record).is_empty() {
        links.push(("fields", "Fields"));
    }
    if !sheets(record).is_empty() {
        links.push(("figures", "Further figures"));
    }
    links.extend([("work", "What was solved"), ("inputs", "Inputs and provenance")]);
    let links: String =
        links.iter().map(|(id, text)| format!("<a href=\"#{id}\">{text}</a> ")).collect();
    format!("<nav aria-label=\"Sections\">{links}</nav>")
}

/// All named figures with an id and a title: those of experiments first.
pub(super) fn sheets(record: &RunRecord) -> Vec<(String, String, &Sheet)> {
    let own = (0..record.experiments.len()).filter_map(|k| {
        let (sheet, title) = tables::sheet_of(record, k)?;
        Some((format!("sheet-{k}"), title, sheet))
    });
    let more = further(record).into_iter().enumerate();
    own.chain(more.map(|(k, (title, sheet))| (format!("further-{k}"), title, sheet))).collect()
}

/// What follows from the experiments: the lumped model, sensitivities, points followed,
/// rules and spreads, with titles.
fn further(record: &RunRecord) -> Vec<(String, &Sheet)> {
    let mut all = Vec::new();
    for figure in &record.extract.figures {
        let Shown::Group(sheet) = &figure.value else { continue };
        // A group of groups is several tables.
        let inner: Vec<_> = sheet
            .figures
            .iter()
            .filter_map(|f| match &f.value {
                Shown::Group(inner) => Some((f.meaning.clone(), inner)),
                _ => None,
            })
            .collect();
        if inner.len() == sheet.figures.len() {
            all.extend(inner);
        } else {
            all.push((curves::capital(&figure.meaning), sheet));
        }
    }
    let lists = [("Follow", &record.follows), ("Rule", &record.rules), ("Spread", &record.spreads)];
    for (word, list) in lists {
        all.extend(list.iter().enumerate().map(|(k, sheet)| (format!("{word} {k}"), sheet)));
    }
    all
}

/// A sheet of named figures: charts of its columns and a table of all.
pub(super) fn named(page: &mut Page, sheet: &Sheet, title: &str, id: &str) {
    page.put(&format!("<h3>{}</h3>", markup(title)));
    page.put(&tables::sheet(sheet));
    for chart in curves::of_sheet(sheet, title, id) {
        page.chart(&chart, "");
    }
}

pub(super) fn cross_section(page: &mut Page, record: &RunRecord, id: &str) {
    if record.mesh.nx() < 2 || record.mesh.ny() < 2 {
        return;
    }
    let title = format!("Cross-section of {}", record.case_name);
    let case = case_of(record);
    let drawing = section(&record.mesh, case.as_ref(), &title, false);
    page.put(&format!(
        "<figure data-drawn=\"yes\" aria-label=\"{}\"><figcaption>Net doping in bands; solid lines are \
         metallurgical junctions. Contacts and gate plates are drawn thicker than they are.\
         </figcaption><div class=\"wide\">{}</div></figure>",
        markup(&title),
        svg(&drawing, false, id)
    ));
}

fn fields(page: &mut Page, record: &RunRecord) {
    let stored = maps::points(record);
    if stored.is_empty() || record.mesh.nx() < 2 || record.mesh.ny() < 2 {
        return;
    }
    let set = map_sets::of_one(record, &stored);
    page.heading("fields", "Fields");
    page.put(&map_sets::figure(&set, page.maps.len()));
    page.maps.push(set);
}

pub(super) fn case_text(record: &RunRecord) -> String {
    format!(
        "<details><summary>Case text</summary><pre class=\"scroll\" tabindex=\"0\" \
         aria-label=\"Case text\">{}</pre></details>",
        markup(&record.case_text)
    )
}

pub(super) fn footer() -> String {
    format!(
        "<footer>Made by holdpoint {}. This page needs no network and asks for none.</footer>",
        markup(crate::record::version())
    )
}
