//! Figures, drawings, CSV and the XDMF sidecar of a real result.

mod record_support;
mod report_support;

use std::path::Path;
use std::process::Command;

use holdpoint::report::{Item, figure, names, page, png, stream, to_svg};
use holdpoint::trace::FoldKind;
use report_support::{CASE, holdpoint, pad, pad_record};

/// An element is closed by its own name, and attributes are quoted: enough of XML to catch
/// what a browser forgives.
fn well_formed(text: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('<') {
        assert!(!before.contains('>'), "a bare > before {after:.40}");
        let (tag, tail) = after.split_once('>').expect("a tag ends");
        rest = tail;
        if tag.starts_with('?') {
            continue;
        }
        assert_eq!(tag.matches('"').count() % 2, 0, "quotes in <{tag:.80}>");
        let name = tag.trim_start_matches('/').split([' ', '/', '\n']).next().unwrap();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "</{name}>");
        } else if !tag.ends_with('/') {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "{open:?} are left open");
}

/// Share of pixels that are not white.
fn inked(bytes: &[u8]) -> f64 {
    let map = tiny_skia::Pixmap::decode_png(bytes).unwrap();
    let marked = map.pixels().iter().filter(|p| p.red() < 250 || p.green() < 250 || p.blue() < 250);
    marked.count() as f64 / map.pixels().len() as f64
}

#[test]
fn every_figure_is_an_svg_and_a_png() {
    let record = pad_record();
    let all = names(&record);
    // Two of each curve, section, mesh, seven quantities at seven points, the doping.
    assert_eq!(all.len(), 6 + 2 + 49 + 1, "{all:?}");
    for name in &all {
        let drawing = figure(&record, name).unwrap_or_else(|| panic!("{name} is not drawn"));
        let text = to_svg(&drawing);
        well_formed(&text);
        // Pixels are base64 and may spell anything.
        let marks = text.lines().filter(|l| !l.starts_with("<image"));
        assert!(!marks.into_iter().any(|l| l.contains("NaN") || l.contains("inf")), "{name}");
    }
    for name in
        ["curve-0", "curve-1-linear", "section", "mesh", "potential-0-holding", "net-doping"]
    {
        let drawing = figure(&record, name).unwrap();
        let share = inked(&png(&drawing, 1.0).unwrap());
        assert!(share > 0.02, "{name}: {share} of its pixels are inked");
    }
    assert!(figure(&record, "curve-9").is_none() && figure(&record, "no such").is_none());
    assert!(png(&figure(&record, "section").unwrap(), 1e9).is_err());
    assert!(png(&figure(&record, "section").unwrap(), f64::NAN).is_err());
}

#[test]
fn an_invented_record_with_everything_is_drawn() {
    let record = record_support::rich();
    for name in names(&record) {
        well_formed(&to_svg(&figure(&record, &name).unwrap()));
    }
    let text = page(&[Item { name: "rich".into(), record }]);
    assert!(text.contains("Verdict") || text.contains("verdict"));
}

/// The stream function rises by a terminal's current along it.
#[test]
fn the_stream_function_knows_the_terminal_currents() {
    let record = pad_record();
    let (mesh, outcome) = (&record.mesh, &record.experiments[0]);
    let fields = outcome.fields.iter().find(|f| f.label == "holding").unwrap();
    let fold = outcome.folds.iter().find(|f| f.kind == FoldKind::VoltageMinimum).unwrap();
    let psi = stream(mesh, fields);
    let surface = mesh.y.iter().position(|y| *y == 0.0).unwrap();
    for name in ["anode", "cathode", "well-tap", "substrate-tap"] {
        let nodes = &mesh.terminals.iter().find(|t| t.name == name).unwrap().nodes;
        let column = |n: u32| mesh.ij(n as usize).0;
        let (a, b) = (column(nodes[0]), column(*nodes.last().unwrap()));
        let at = |i: usize| psi[surface * mesh.nx() + i];
        // A/cm² · µm is 1e-8 A/µm; between contacts the surface is a line of flow.
        let found = (at(b + 1) - at(a - 1)).abs() * 1e-8;
        let column = outcome.curve.terminals.iter().position(|t| t == name).unwrap();
        let current = fold.at_terminals.current[column].abs();
        let error = (found - current).abs() / fold.current;
        println!("{name}: {found:.4e} for {current:.4e} A/µm");
        assert!(error < 1e-3, "{name}: {found:e} for {current:e} A/µm");
    }
}

#[test]
fn csv_has_every_point_and_fold() {
    let record = pad_record();
    let out = holdpoint(&["show", pad().1.to_str().unwrap(), "--csv"]);
    let text = String::from_utf8(out.stdout).unwrap();
    let mut lines = text.split("\r\n");
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let terminals = record.experiments[0].curve.terminals.len();
    assert_eq!(head.len(), 5 + 2 * terminals);
    let rows: Vec<Vec<&str>> =
        lines.filter(|l| !l.is_empty()).map(|l| l.split(',').collect()).collect();
    let wanted: usize = record.experiments.iter().map(|o| o.curve.len() + o.folds.len()).sum();
    assert_eq!(rows.len(), wanted);
    assert!(rows.iter().all(|r| r.len() == head.len()));
    let c = &record.experiments[1].curve;
    let row = rows.iter().find(|r| r[0] == "1" && r[2] == "7").unwrap();
    assert_eq!(row[3].parse::<f64>().unwrap(), c.voltage[7]);
    assert_eq!(row[4].parse::<f64>().unwrap(), c.current[7]);
    let anode = head.iter().position(|h| *h == "anode current_A_per_um").unwrap();
    let own = c.terminals.iter().position(|t| t == "anode").unwrap();
    assert_eq!(row[anode].parse::<f64>().unwrap(), c.at_terminals[7].current[own]);
}

#[test]
fn the_summary_ends_with_the_verdict() {
    let result = pad().1.to_str().unwrap();
    let text = String::from_utf8(holdpoint(&["show", result]).stdout).unwrap();
    assert!(text.lines().count() < 30, "{text}");
    let verdict = text.find("verdict: latches").unwrap();
    assert!(text.find("holding ").unwrap() < verdict && !text.contains('\x1b'), "{text}");
    let details = String::from_utf8(holdpoint(&["show", result, "--details"]).stdout).unwrap();
    assert!(details.contains("fold 2") && details.contains("factorizations"));
}

/// On a narrow terminal no line is cut by the terminal, and no word is lost.
#[test]
fn the_summary_fits_a_narrow_terminal() {
    use holdpoint::cli::{Io, Joined, run_with};
    let result = pad().1.to_str().unwrap();
    let shown = |columns: Option<usize>| {
        let (mut io, said) = Io::captured(columns);
        assert_eq!(run_with(&Joined, ["holdpoint", "show", result], &mut io), 0);
        said().0
    };
    let words = |text: &str| text.split_whitespace().map(str::to_string).collect::<Vec<_>>();
    let whole = words(&shown(None));
    for columns in [40, 60, 80] {
        let text = shown(Some(columns));
        assert!(text.lines().all(|l| l.chars().count() <= columns), "{text}");
        // The drawing adds words; all of the rest are there in their order.
        let mut rest = words(&text).into_iter();
        assert!(whole.iter().all(|w| rest.any(|r| r == *w)), "{text}");
    }
}

/// What a terminal of `columns` shows of a command, and its exit code. The terminal is a real
/// one: `script` of util-linux, which every Debian has.
fn on_a_terminal(columns: usize, environment: &[(&str, &str)], command: &str) -> (String, i32) {
    let program = env!("CARGO_BIN_EXE_holdpoint");
    let line = format!("stty cols {columns} rows 50; exec '{program}' {command}");
    let out = Command::new("script")
        .args(["-q", "-e", "-c", &line, "/dev/null"])
        .stdin(std::process::Stdio::null())
        .env("TERM", "xterm-256color")
        .env("LC_ALL", "C.UTF-8")
        .env_remove("NO_COLOR")
        .envs(environment.iter().copied())
        .output()
        .expect("script, of util-linux");
    let text = String::from_utf8(out.stdout).unwrap().replace("\r\n", "\n");
    (text, out.status.code().unwrap())
}

/// Without the escape sequences for colours.
fn uncoloured(text: &str) -> String {
    let mut parts = text.split("\x1b[");
    let first = parts.next().unwrap().to_string();
    parts.fold(first, |all, part| all + part.split_once('m').expect("a colour").1)
}

#[test]
fn a_terminal_gets_a_drawing_in_its_own_letters() {
    let show = format!("show '{}'", pad().1.display());
    let dots = |text: &str| text.chars().filter(|c| ('\u{2801}'..='\u{28ff}').contains(c)).count();
    let (coloured, code) = on_a_terminal(80, &[], &show);
    assert_eq!(code, 0, "{coloured}");
    assert!(coloured.contains("\x1b["), "{coloured}");
    let plain = uncoloured(&coloured);
    assert!(dots(&plain) > 40, "{plain}");
    assert!(plain.lines().all(|l| l.chars().count() <= 80), "{plain}");
    assert!(
        plain.rfind("verdict: latches") > plain.rfind(|c| ('\u{2801}'..='\u{28ff}').contains(&c))
    );
    let (text, _) = on_a_terminal(80, &[("NO_COLOR", "1")], &show);
    assert_eq!(text, plain);
    // Letters of ASCII, where the locale has no others.
    let (text, _) = on_a_terminal(80, &[("LC_ALL", "C"), ("NO_COLOR", "1")], &show);
    assert!(dots(&text) == 0 && text.lines().count() > plain.lines().count() / 2, "{text}");
    assert!(text.lines().filter(|l| l.contains("..")).count() > 5, "{text}");
    // Too narrow for a drawing.
    let (text, _) = on_a_terminal(38, &[("NO_COLOR", "1")], &show);
    assert!(dots(&text) == 0 && text.contains("verdict: latches"), "{text}");
    // A document stays a document.
    let (text, _) = on_a_terminal(80, &[], &format!("{show} --json"));
    let document: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(document["verdict"]["answer"], "latches", "{text}");
}

#[test]
fn quiet_shows_no_progress_on_a_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let case = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/diode-strip.toml");
    let run = |more: &str| {
        let result = folder.path().join("d.h5");
        let what = format!("run '{case}' -o '{}' --force {more}", result.display());
        let (text, code) = on_a_terminal(80, &[("NO_COLOR", "1")], &what);
        assert_eq!(code, 0, "{text}");
        text
    };
    let (loud, quiet) = (run(""), run("--quiet"));
    // Progress is drawn over itself: carriage returns and cursor movements, on a terminal only.
    assert!(loud.contains('\r') || loud.contains("\x1b["), "{loud:?}");
    assert!(!quiet.contains('\r') && !quiet.contains('\x1b'), "{quiet:?}");
    assert!(quiet.contains("diode-strip"), "{quiet}");
}

#[test]
fn check_and_mesh_draw_also_what_is_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    std::fs::write(at("good.toml"), CASE).unwrap();
    let ran = holdpoint(&["mesh", &at("good.toml"), "--draw", &at("mesh.png")]);
    assert!(ran.status.success());
    assert!(inked(&std::fs::read(at("mesh.png")).unwrap()) > 0.3);
    // The p-well is gone: n+ source and n-well meet.
    let from = CASE.find("[[well]]\nname      = \"p-well\"").unwrap();
    let to = from + CASE[from..].find("# A peak of").unwrap();
    let short = CASE.replace(&CASE[from..to], "").replace("spread  = 0.2", "spread  = 3.0");
    std::fs::write(at("short.toml"), short).unwrap();
    let ran = holdpoint(&["check", &at("short.toml"), "--draw", &at("short.svg")]);
    assert_eq!(ran.status.code(), Some(2), "{}", String::from_utf8_lossy(&ran.stderr));
    let text = std::fs::read_to_string(at("short.svg")).unwrap();
    well_formed(&text);
    assert!(text.contains("n+ source"));
    for (draw, said) in
        [(at("x.pdf"), "ends in .svg or .png"), (at("no/x.svg"), "could not be written")]
    {
        let ran = holdpoint(&["check", &at("good.toml"), "--draw", &draw]);
        assert!(!ran.status.success());
        assert!(String::from_utf8_lossy(&ran.stderr).contains(said));
    }
}

#[test]
fn vtk_opens_the_sidecar() {
    let folder = tempfile::tempdir().unwrap();
    let result = folder.path().join("a & b.h5");
    std::fs::copy(&pad().1, &result).unwrap();
    let ran = holdpoint(&["report", result.to_str().unwrap(), "--xdmf"]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let sidecar = result.with_extension("xmf");
    well_formed(&std::fs::read_to_string(&sidecar).unwrap());
    let there = Command::new("python3").args(["-c", "import vtk, h5py"]).output();
    if !there.is_ok_and(|o| o.status.success()) {
        eprintln!("\n*** NOT TESTED: python3 with vtk and h5py is not here ***\n");
        return;
    }
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/read_xdmf.py");
    let out = Command::new("python3").arg(script).args([&sidecar, &result]).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(said.contains("all good"), "{said}\n{}", String::from_utf8_lossy(&out.stderr));
    println!("{said}");
}

/// The examples of docs/report.md, each as it is printed there.
#[test]
fn the_python_of_the_docs_runs() {
    let text = include_str!("../docs/report.md");
    let blocks: Vec<&str> =
        text.split("```python\n").skip(1).filter_map(|b| b.split("```").next()).collect();
    assert!(blocks.len() >= 2);
    let there = Command::new("python3").args(["-c", "import h5py, xarray, h5netcdf"]).output();
    if !there.is_ok_and(|o| o.status.success()) {
        eprintln!("\n*** NOT TESTED: python3 with h5py, xarray and h5netcdf is not here ***\n");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("results")).unwrap();
    std::fs::copy(&pad().1, folder.path().join("results/tern180-pad.h5")).unwrap();
    for block in blocks {
        let out = Command::new("python3")
            .args(["-c", block])
            .current_dir(Path::new(folder.path()))
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stdout).into_owned();
        assert!(out.status.success(), "{block}\n{}", String::from_utf8_lossy(&out.stderr));
        assert!(!said.trim().is_empty(), "says nothing: {block}");
        println!("{said}");
    }
}
