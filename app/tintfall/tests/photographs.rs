//! Photographs of test prints on the card, by the command alone.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::{Path, PathBuf};

use calibrate::{Reading, Table};
use common::{done, run};

fn refused(folder: &Path, args: &[&str], word: &str) {
    let output = run(folder, args);
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
    assert!(error.contains(word), "{args:?}: {error}");
}

/// What ships with the demonstration.
fn shipped(file: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-models/calibration");
    fs::canonicalize(folder.join(file)).unwrap()
}

fn table(path: &Path) -> Table {
    Table::read(&fs::read_to_string(path).unwrap()).unwrap()
}

/// Writes the demonstration's swatch bar into `bar`.
fn bar(folder: &Path) {
    fs::copy(shipped("spools.ron"), folder.join("spools.ron")).unwrap();
    done(folder, &["swatch", "spools.ron", "--out", "bar"]);
}

/// The demonstration's photograph was rendered from the colours of the demonstration's readings,
/// by `tests/outside/studio.py`, so these are what it should give.
#[test]
fn a_photograph_on_the_card_is_read_without_being_told_where() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    bar(folder);
    let photo = shipped("photograph.jpg").display().to_string();
    let mut args = vec!["read-photo", &photo, "--plan", "bar/swatch.plan.ron"];
    args.extend(["--out", "read.csv", "--overlay", "seen.png"]);
    args.extend([
        "--neutral",
        "A=0.9",
        "--neutral",
        "b=0.18",
        "--neutral",
        "C=0.04",
    ]);
    done(folder, &args);
    let (read_back, truth) = (
        table(&folder.join("read.csv")),
        table(&shipped("measured.csv")),
    );
    assert_eq!(read_back.rows.len(), truth.rows.len());
    for (row, truth) in read_back.rows.iter().zip(&truth.rows) {
        let (Some(Reading::Lab(seen)), Some(Reading::Lab(there))) = (&row.reading, &truth.reading)
        else {
            panic!("step {} was not read", row.step);
        };
        let off = blend::ciede2000(*seen, *there);
        assert!(off < 1.5, "step {}: {off}", row.step);
    }
    let drawn = fs::read(folder.join("seen.png")).unwrap();
    assert!(drawn.starts_with(b"\x89PNG"));
}

#[test]
fn what_can_not_be_read_right_is_refused() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    bar(folder);
    let photo = shipped("photograph.jpg").display().to_string();
    let plan = [
        "read-photo",
        &photo,
        "--plan",
        "bar/swatch.plan.ron",
        "--out",
        "out.csv",
    ];
    let with = |more: &[&'static str]| [&plan[..], more].concat();
    refused(folder, &with(&[]), "--neutral 0.18");
    refused(
        folder,
        &with(&["--neutral", "A=0.9", "--neutral", "0.18"]),
        "names A twice",
    );
    refused(folder, &with(&["--neutral", "D=0.9"]), "A, B and C");
    // The grey lies on B, not on A, so the print would be lighter than white on it, or darker
    // than any reading; here the white is taken for a grey and the grey for a white.
    refused(
        folder,
        &with(&["--neutral", "A=0.18", "--neutral", "B=0.9"]),
        "contradict each other",
    );
    // A bar of other steps.
    let args = ["swatch", "spools.ron", "--between", "7", "--out", "other"];
    done(folder, &args);
    let mut other = with(&["--neutral", "A=0.9"]);
    other[3] = "other/swatch.plan.ron";
    refused(folder, &other, "photograph.jpg");
    // No card in the picture, and formats that are not read.
    let mut none = with(&["--neutral", "A=0.9"]);
    none[1] = "bar/swatch/sheet.png";
    refused(folder, &none, "no photograph card");
    fs::write(
        folder.join("phone.heic"),
        b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
    )
    .unwrap();
    none[1] = "phone.heic";
    refused(folder, &none, "as JPEG");
    assert!(!folder.join("out.csv").exists());
}

/// The corners that a reading prints read the same again; those that can't be are refused.
#[test]
fn a_frame_says_where_the_print_lies() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    bar(folder);
    let photo = shipped("photograph.jpg").display().to_string();
    let mut args = vec!["read-photo", &photo, "--plan", "bar/swatch.plan.ron"];
    for neutral in ["A=0.9", "B=0.18", "C=0.04"] {
        args.extend(["--neutral", neutral]);
    }
    let read = |more: &[&str]| run(folder, &[&args[..], more].concat());
    let told = String::from_utf8(read(&["--out", "alone.csv"]).stdout).unwrap();
    let line = told.lines().find_map(|l| l.split_once("--frame "));
    let corners: Vec<&str> = line.unwrap().1.split(' ').collect();
    let [a, b, c, d] = corners[..] else {
        panic!("{told}");
    };
    let framed = read(&["--out", "framed.csv", "--frame", a, b, c, d]);
    assert!(framed.status.success(), "{framed:?}");
    let read_table = |file: &str| table(&folder.join(file)).rows;
    for (a, b) in read_table("alone.csv")
        .iter()
        .zip(&read_table("framed.csv"))
    {
        let (Some(Reading::Lab(a)), Some(Reading::Lab(b))) = (&a.reading, &b.reading) else {
            panic!("no reading");
        };
        assert!(blend::ciede2000(*a, *b) < 0.2, "{a:?} {b:?}");
    }
    let refused = |corners: &[&str], word: &str| {
        let more = ["--out", "out.csv", "--overlay", "seen.png", "--frame"];
        let output = read(&[&more[..], corners].concat());
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{corners:?}: {error}");
        assert!(error.contains(word), "{corners:?}: {error}");
        assert!(!folder.join("out.csv").exists());
    };
    refused(&[c, d, a, b], "foot is seen");
    // The picture helps most there.
    assert!(folder.join("seen.png").exists());
    refused(&[a, b, d, c], "in this order");
    refused(&[a, b, c, "-5,9000"], "corner 4");
    refused(&[a, b, c, "12"], "two numbers");
    refused(&[a, b, c, "1,nan"], "two numbers");
    refused(&[a, b, c], "4 values");
}

#[test]
fn a_finished_part_is_not_read_by_what_can_not_be_meant() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    let seen = [
        "seen",
        "part.plan.ron",
        "one.jpg",
        "two.jpg",
        "--out",
        "seen",
    ];
    let with = |more: &[&'static str]| [&seen[..], more].concat();
    refused(folder, &with(&[]), "--neutral 0.18");
    let grey = ["--neutral", "0.18"];
    let with = |more: &[&'static str]| with(&[&grey[..], more].concat());
    refused(folder, &with(&["--every", "0"]), "--every 0");
    refused(
        folder,
        &with(&["--turn", "10", "--turn", "20", "--turn", "30"]),
        "3 times for 2",
    );
    refused(folder, &with(&[]), "part.plan.ron");
    assert!(!folder.join("seen").exists());
}

#[test]
fn the_card_is_written_as_pdf_and_svg_and_as_nothing_else() {
    let root = tempfile::tempdir().unwrap();
    let folder = root.path();
    done(folder, &["card", "--out", "card.pdf"]);
    done(folder, &["card", "--out", "card.svg", "--paper", "letter"]);
    let file = fs::read(folder.join("card.pdf")).unwrap();
    assert!(file.starts_with(b"%PDF"));
    let text = fs::read_to_string(folder.join("card.svg")).unwrap();
    assert!(text.contains("215.9mm"));
    refused(folder, &["card", "--out", "card.docx"], ".pdf or .svg");
}
