//! From a photograph of a finished part to the review page and the hand-off that show it.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use common::{done, refused, tintfall};
use plan::document::sha256_hex;
use project::record::{Opened, Record, Summary, file_names};

const PLAN: &str = "lamp-shade.plan.ron";

/// A file in a folder as text.
fn text(folder: &Path, file: &str) -> String {
    fs::read_to_string(folder.join(file)).unwrap()
}

/// The demonstration's lamp shade with its plan.
fn lamp_shade(folder: &Path) {
    let demos = demo_models::all().unwrap();
    let shade = demos.iter().find(|demo| demo.name == "lamp-shade").unwrap();
    let mesh = geometry::read::mesh_to_stl(&shade.mesh);
    fs::write(folder.join("lamp-shade.stl"), mesh).unwrap();
    fs::write(folder.join(PLAN), shade.plan_ron).unwrap();
}

/// Reads the demonstration's photograph of it: rendered by `tests/outside/finished_parts.py`.
fn seen(folder: &Path) {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-models/calibration");
    fs::copy(shipped.join("finished.jpg"), folder.join("finished.jpg")).unwrap();
    let mut args = vec!["seen", PLAN, "finished.jpg", "--out", "seen"];
    for reference in ["A=0.9", "B=0.18", "C=0.04"] {
        args.extend(["--neutral", reference]);
    }
    let said = tintfall(folder, &args);
    assert!(said.contains("--record seen"), "{said}");
}

/// One reading of the photograph serves all that is done with it: reading takes longest.
#[test]
fn what_came_out_is_shown_handed_over_and_checked() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    lamp_shade(folder);
    seen(folder);
    the_record_is_what_was_read(folder);
    the_page_shows_it_and_is_the_same_without(folder);
    it_is_handed_over_and_checked(folder);
    another_state_of_the_plan_is_told(folder);
    what_was_changed_is_refused(folder);
}

fn the_record_is_what_was_read(folder: &Path) {
    let opened = Opened::read(&folder.join("seen")).unwrap();
    let record = &opened.record;
    assert_eq!(
        Record::from_ron(&record.to_ron().unwrap()).unwrap(),
        *record
    );
    assert_eq!(record.title, "Ribbed lamp shade");
    let hash = |file: PathBuf| sha256_hex(&fs::read(file).unwrap());
    assert_eq!(record.seal.plan_file_sha256, hash(folder.join(PLAN)));
    let mesh = hash(folder.join("lamp-shade.stl"));
    assert_eq!(record.seal.mesh_file_sha256, mesh);
    let [photograph] = record.photographs.as_slice() else {
        panic!("{:?}", record.photographs);
    };
    assert_eq!(photograph.name, "finished.jpg");
    assert_eq!(photograph.sha256, hash(folder.join("finished.jpg")));
    let places: Vec<&str> = record.references.iter().map(|r| r.place.as_str()).collect();
    assert_eq!(places, ["A", "B", "C"]);
    // The rows are those of the table for spreadsheets.
    let table = text(folder, "seen/regions.csv");
    let rows = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    let rows: Vec<Vec<&str>> = rows.map(|row| row.rsplit(',').collect()).collect();
    assert_eq!(rows.len(), record.rows.len());
    assert!(rows.len() > 20, "{}", rows.len());
    for (cells, row) in rows.iter().zip(&record.rows) {
        // From the right: off as printed and its b, a, l; off as requested and its b, a, l; ±.
        let cell = |i: usize| -> f64 { cells.get(i).unwrap().parse().unwrap() };
        assert!((cell(0) - row.off_printed_de00()).abs() < 0.03, "{row:?}");
        assert!((cell(4) - row.off_requested_de00()).abs() < 0.03, "{row:?}");
        assert!((cell(8) - row.uncertainty_de00).abs() < 0.06, "{row:?}");
        assert!((cell(11) - row.seen.l).abs() < 1e-9, "{row:?}");
    }
    assert_eq!(record.summary, Summary::of(&record.rows));
}

fn the_page_shows_it_and_is_the_same_without(folder: &Path) {
    tintfall(folder, &["prepare", PLAN, "--out", "plain"]);
    tintfall(
        folder,
        &["prepare", PLAN, "--record", "seen", "--out", "shown"],
    );
    let (plain, page) = (
        text(folder, "plain/review.html"),
        text(folder, "shown/review.html"),
    );
    assert!(!plain.contains("What came out") && !plain.contains(".came"));
    let head = "<section aria-labelledby=\"came-out\">";
    let (before, rest) = page.split_once(head).unwrap();
    let (section, after) = rest.split_once("</section>\n").unwrap();
    // Without the section and its rules the page is as it was.
    let style = before.find(".came {").unwrap();
    let end = before.find("</style>").unwrap();
    let without = [&before[..style], &before[end..], after].concat();
    assert!(without == plain, "the record changes the rest of the page");
    assert!(!section.contains("another state"), "{section}");
    assert_eq!(section.matches("<img ").count(), 4);
    for words in [
        "finished.jpg",
        "As printed",
        "one standard error",
        "A 0.9, B 0.18, C 0.04",
    ] {
        assert!(section.contains(words), "{words}");
    }
    let record = Opened::read(&folder.join("seen")).unwrap().record;
    let summary = record.summary.unwrap();
    let figure = format!(
        "ΔE00 {:.1}, at {:.1} mm",
        summary.worst_de00, summary.worst_at_mm
    );
    assert!(section.contains(&figure), "{figure}");
    assert!(section.contains(&record.at) && section.contains(&record.seal.whole_sha256));
    // Everything else in the folder is the same, but for the line that names the record.
    for (name, _) in package::FILES
        .iter()
        .filter(|(name, _)| *name != "review.html")
    {
        let both = ["plain", "shown"].map(|out| fs::read(folder.join(out).join(name)).unwrap());
        assert_eq!(both[0] == both[1], *name != "index.txt", "{name}");
    }
    assert!(text(folder, "shown/index.txt").contains("  record   of a print, read on 20"));
}

fn it_is_handed_over_and_checked(folder: &Path) {
    let out = ["--out", "out"];
    let said = tintfall(
        folder,
        &[&["handoff", PLAN, "--record", "seen"][..], &out].concat(),
    );
    assert!(said.contains("record/1/record.ron"), "{said}");
    let index = text(folder, "out/index.txt");
    for name in file_names(1) {
        let own = fs::read(folder.join("seen").join(&name)).unwrap();
        assert_eq!(
            fs::read(folder.join("out/record/1").join(&name)).unwrap(),
            own
        );
        assert!(index.contains(&format!("record/1/{name}")), "{index}");
    }
    let said = tintfall(folder, &["check-handoff", "out"]);
    let of_this = "ok  record/1: of this state of the plan";
    assert!(said.contains(of_this), "{said}");
    assert!(said.contains("ok  review.html matches"), "{said}");
    // What is changed is told, also if the manifest is mended to hide it.
    let check = || refused(folder, &["check-handoff", "out"]);
    let table = folder.join("out/record/1/regions.csv");
    let before = fs::read(&table).unwrap();
    fs::write(&table, [&before[..], b"\n"].concat()).unwrap();
    assert!(check().contains("record/1/regions.csv was changed"));
    let mended = Mended::of(folder, "record/1/regions.csv", &before);
    let error = check();
    assert!(
        error.contains("  record/1/regions.csv: was changed after the record"),
        "{error}"
    );
    mended.undo();

    let page = folder.join("out/review.html");
    let before = fs::read(&page).unwrap();
    let better = String::from_utf8(before.clone()).unwrap();
    fs::write(
        &page,
        better.replacen("one standard error", "two standard errors", 1),
    )
    .unwrap();
    let mended = Mended::of(folder, "review.html", &before);
    assert!(check().contains("not true: review.html matches"));
    mended.undo();
    tintfall(folder, &["check-handoff", "out"]);
}

/// A file of the hand-off that was changed, and lists that hide it.
struct Mended {
    restore: Vec<(PathBuf, Vec<u8>)>,
}

impl Mended {
    fn of(folder: &Path, file: &str, before: &[u8]) -> Self {
        let out = folder.join("out");
        let mut restore = vec![(out.join(file), before.to_vec())];
        let now = fs::read(out.join(file)).unwrap();
        for list in ["manifest.ron", "SHA256SUMS"] {
            let text = text(&out, list);
            restore.push((out.join(list), text.clone().into_bytes()));
            let size = |bytes: &[u8]| format!("bytes: {}", bytes.len());
            let hidden = text.replace(&sha256_hex(before), &sha256_hex(&now));
            let hidden = hidden.replace(&size(before), &size(&now));
            assert_ne!(hidden, text, "{list}");
            fs::write(out.join(list), hidden).unwrap();
        }
        Self { restore }
    }

    fn undo(self) {
        for (path, bytes) in self.restore {
            fs::write(path, bytes).unwrap();
        }
    }
}

fn another_state_of_the_plan_is_told(folder: &Path) {
    let old = text(folder, PLAN);
    let new = old.replacen("Ribbed lamp shade", "Plain lamp shade", 1);
    assert_ne!(new, old);
    fs::write(folder.join(PLAN), new).unwrap();
    // Two prints, each with a heading of its own.
    let two = ["--record", "seen", "--record", "seen"];
    let args = [&["prepare", PLAN, "--out", "later"][..], &two].concat();
    let told = done(folder, &args).stderr;
    let told = String::from_utf8(told).unwrap();
    let words = "This record belongs to another state of the plan. Changed since: the plan.";
    assert!(told.contains(&format!("Warning: seen: {words}")), "{told}");
    let page = text(folder, "later/review.html");
    assert_eq!(page.matches(words).count(), 2);
    assert!(page.contains("<h3>Print 1</h3>") && page.contains("<h3>Print 2</h3>"));
    assert!(page.contains("for the plan “Ribbed lamp shade”"));
    assert!(text(folder, "later/index.txt").contains(words));
    tintfall(
        folder,
        &["handoff", PLAN, "--record", "seen", "--out", "later.zip"],
    );
    let said = tintfall(folder, &["check-handoff", "later.zip"]);
    assert!(said.contains(&format!("note  record/1: {words}")), "{said}");
    fs::write(folder.join(PLAN), old).unwrap();
}

fn what_was_changed_is_refused(folder: &Path) {
    let prepare = |record: &str| {
        let out = ["prepare", PLAN, "--record", record, "--out", "no"];
        refused(folder, &out)
    };
    let error = prepare("shown");
    assert!(
        error.contains("a folder that `tintfall seen` wrote"),
        "{error}"
    );
    let record = folder.join("seen/record.ron");
    let written = fs::read_to_string(&record).unwrap();
    for (from, to, what) in [
        ("Ribbed", "Ridged", "changed after it was written"),
        ("version: 1", "version: 2", "use a newer program"),
    ] {
        fs::write(&record, written.replacen(from, to, 1)).unwrap();
        let error = prepare("seen");
        assert!(error.contains(what), "{error}");
        assert!(error.contains("record.ron: line "), "{error}");
    }
    fs::write(&record, &written).unwrap();
    fs::write(folder.join("seen/off-1.png"), "no picture").unwrap();
    let error = prepare("seen");
    assert!(error.contains("off-1.png: was changed"), "{error}");
    assert!(!folder.join("no").exists());
}
