//! Names are only names: whatever a part, a region, a spool, a file or a reviewer is called,
//! nothing is written outside of the chosen folder, no page runs it, and no toolpath obeys it.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Cursor, Read};
use std::path::{Path, PathBuf};

use geometry::read::mesh_to_stl;
use geometry::{DVec3, Progress, solids};
use package::bundle::{check, hand_off};
use package::three_mf::read_back;
use package::{FILES, prepare, prepare_woven};
use plan::document::sha256_hex;
use project::job::Job;
use project::record::{FileHash, Opened, Photograph, Record, Reference, Row, Taken, file_names};
use project::signoff::{Decision, Seal, Standing, Verdict, sign};
use toolpath::{Form, Reader, Settings};
use weave::dialect::{Dialect, Heard, Listener};
use weave::register::Placement;
use weave::{Source, Weave};

/// Names as nobody should choose them, each with the sign by which it is known again.
const NAMES: [&str; 7] = [
    "<script>alert('a1')</script>",
    "\"><img src=x onerror=\"alert('b2')\">",
    "]]></metadata><!-- c3 --><x y='&amp;",
    "../../outside-d4",
    "/tmp/outside-e5",
    "f6\nG1 X0 E99\rM104 S300\u{2028}G1 X1",
    "=cmd|'g7'!A1 \u{202e}\u{0} ');</style><style>*{display:none}",
];

fn quoted(text: &str) -> String {
    ron::to_string(text).unwrap()
}

/// A block whose plan has all these names, in a folder of its own within `folder`.
fn job(folder: &Path) -> Job {
    let own = folder.join("plans");
    fs::create_dir(&own).unwrap();
    let mesh = "<img src=x onerror=alert(8)> & 'so' \"on\".stl";
    let block = solids::cuboid(DVec3::new(8.0, 5.0, 2.0)).unwrap();
    fs::write(own.join(mesh), mesh_to_stl(&block)).unwrap();
    let regions: String = NAMES
        .iter()
        .enumerate()
        .map(|(i, name)| {
            let (mask, share) = match i {
                0 => ("Whole".to_owned(), 1.0),
                _ => {
                    let from = 0.4 * (i % 5) as f64;
                    (
                        format!("Band(from_mm: {from}, to_mm: {})", from + 0.4),
                        0.25,
                    )
                }
            };
            let name = quoted(name);
            format!(
                "(name: {name}, mask: {mask}, paint: Fixed([{share}, {}])),",
                1.0 - share
            )
        })
        .collect();
    // A title takes no more characters.
    let title: String = NAMES.concat().chars().take(200).collect();
    let text = format!(
        "(version: 1, title: {}, mesh: (file: {}), spools: [(name: {}, colour: \
         Hex(\"#1f4e8c\")), (name: {}, colour: Hex(\"#f2ecdc\"))], machine: (chamber: (dead_mm3: \
         1, mixed_mm3: 2)), layers: (first_layer_mm: 0.4, layer_mm: 0.4), regions: [{regions}])",
        quoted(&title),
        quoted(mesh),
        quoted(NAMES[0]),
        quoted(NAMES[5]),
    );
    let path = own.join("p'<b>&\".plan.ron");
    fs::write(&path, text).unwrap();
    Job::open(&path, &Progress::new()).unwrap()
}

/// The record of a print that has all these names, of another state of the plan.
fn record(job: &Job, folder: &Path) -> Opened {
    fs::create_dir(folder).unwrap();
    let pixel = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\0\x01\0\0\0\x01\x08\x02\0\0\0";
    let files = file_names(NAMES.len()).into_iter().map(|name| {
        fs::write(folder.join(&name), pixel).unwrap();
        let sha256 = sha256_hex(pixel);
        FileHash { name, sha256 }
    });
    let files = files.collect();
    let lab = blend::Lab {
        l: 50.0,
        a: 0.0,
        b: 0.0,
    };
    let row = |slot: usize| Row {
        region: slot,
        slot,
        height_mm: slot as f64 + 0.5,
        pixels: 40,
        photographs: 1,
        requested: lab,
        printed: lab,
        seen: lab,
        uncertainty_de00: 1.0,
    };
    let owned = |name: &str| name.to_owned();
    let taken = Taken {
        title: NAMES.concat(),
        photographs: NAMES
            .map(|name| Photograph {
                name: owned(name),
                sha256: owned(name),
            })
            .to_vec(),
        references: NAMES
            .map(|place| Reference {
                place: owned(place),
                reflectance: 0.18,
            })
            .to_vec(),
        every_mm: 1.0,
        regions: NAMES.map(owned).to_vec(),
        rows: (0..NAMES.len()).map(row).collect(),
    };
    let mut seal = Seal::of(&job.path, job.painted.plan()).unwrap();
    seal.mesh_file_sha256 = NAMES.concat();
    let record = Record::new(taken, seal, NAMES.concat(), files).unwrap();
    fs::write(folder.join("record.ron"), record.to_ron().unwrap()).unwrap();
    Opened::read(folder).unwrap()
}

/// All files beneath a folder, as paths within it.
fn all_files(folder: &Path) -> BTreeSet<PathBuf> {
    let mut found = BTreeSet::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            match path.is_dir() {
                true => folders.push(path),
                false => {
                    found.insert(path.strip_prefix(folder).unwrap().to_owned());
                }
            }
        }
    }
    found
}

/// The page's elements are those of any page: no name adds an element or an attribute.
fn page_is_tame(html: &str) {
    for raw in [
        "<script>alert",
        "<img src=x",
        "onerror=\"",
        "<!--",
        "]]>",
        "</style><style>",
        "\u{202e}",
        "\u{0}",
    ] {
        assert!(!html.contains(raw), "{raw}");
    }
    let count = |what: &str| html.matches(what).count();
    assert_eq!(count("<style"), 1);
    assert_eq!(count("<script"), count("</script>"));
    assert!(count("&lt;script&gt;alert(&#39;a1&#39;)&lt;/script&gt;") > 0);
}

#[test]
fn nothing_is_written_elsewhere_and_nothing_is_obeyed() {
    let folder = tempfile::tempdir().unwrap();
    let (folder, progress) = (folder.path(), Progress::new());
    let job = job(folder);
    for name in NAMES {
        let verdict = Verdict {
            name: name.to_owned(),
            decision: Decision::Approved,
            note: name.to_owned(),
        };
        let lines = name.chars().any(char::is_control);
        assert_eq!(sign(&job, verdict).is_err(), lines, "{name:?}");
    }
    let records = [record(&job, &folder.join("seen"))];
    let before = all_files(folder);
    let out = folder.join("out");
    prepare(&job, &out, &progress).unwrap();
    page_is_tame(&fs::read_to_string(out.join("review.html")).unwrap());
    prepare_woven(&job, None, None, &records, &out, &progress).unwrap();
    let made: BTreeSet<PathBuf> = all_files(&out);
    let known: BTreeSet<PathBuf> = FILES.iter().map(|(name, _)| PathBuf::from(name)).collect();
    assert!(made.is_subset(&known), "{made:?}");
    page_is_tame(&fs::read_to_string(out.join("review.html")).unwrap());
    csv_keeps_names(&out.join("schedule.csv"));

    let target = folder.join("handed-over");
    let handed = hand_off(&job, &records, &target, &progress).unwrap();
    assert!(check(&target, &progress).unwrap().faults.is_empty());
    let model = read_back(&fs::read(target.join("part.3mf")).unwrap()).unwrap();
    assert_eq!(model.spools[0].0, NAMES[0]);
    page_is_tame(&fs::read_to_string(target.join("review.html")).unwrap());
    assert!(
        handed
            .manifest
            .files
            .iter()
            .all(|f| target.join(&f.name).is_file())
    );

    let elsewhere: Vec<PathBuf> = all_files(folder)
        .into_iter()
        .filter(|p| !p.starts_with("out") && !p.starts_with("handed-over"))
        .collect();
    assert_eq!(
        elsewhere,
        Vec::from_iter(before),
        "something was written beside"
    );
    woven_text_is_comment(&job);
}

/// A row for each dose, the names in their cells.
fn csv_keeps_names(path: &Path) {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap();
    let column = reader
        .headers()
        .unwrap()
        .iter()
        .position(|h| h == "region_name");
    let mut rows = 0;
    for row in reader.records() {
        let row = row.unwrap();
        assert!(
            NAMES.contains(&row.get(column.unwrap()).unwrap()),
            "{row:?}"
        );
        rows += 1;
    }
    assert!(rows > 0);
}

/// Every line that weaving put in is a comment or a command of the dialect.
fn woven_text_is_comment(job: &Job) {
    let mut file = String::from("G21\nG90\nM83\n");
    for layer in 1..=5 {
        file += &format!(
            "G1 Z{:.1}\nG0 X106.2 Y107.7\nG1 X113.8 E0.5\nG1 Y112.3 E0.3\nG1 X106.2 E0.5\n\
             G1 Y107.7 E0.3\n",
            0.4 * f64::from(layer)
        );
    }
    let dialect = Dialect::built_in("slots").unwrap();
    let review = Standing::not_reviewed();
    let weave = Weave {
        painted: &job.painted,
        dialect: &dialect,
        settings: Settings::default(),
        stands: vec![Placement {
            shift_mm: [110.0; 2],
            ..Placement::default()
        }],
        arrange: weave::arrange::Arrange::default(),
        review,
    };
    let bytes = file.clone().into_bytes();
    let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(Cursor::new(bytes.clone()))) };
    let source = Source::new(&open, bytes.len() as u64);
    let mut out = Vec::new();
    weave.run(&source, &mut out, &Progress::new()).unwrap();
    let mut listener = Listener::new(&dialect, 2).unwrap();
    let mut reader = Reader::new(&out[..]);
    let mut comments = 0;
    while let Some(line) = reader.next_line().unwrap() {
        match line.form() {
            Form::Quiet => comments += 1,
            _ if listener.hear(&line) != Heard::Nothing => {}
            // What was there before, or a piece of a move that was cut.
            _ => {
                let body = String::from_utf8_lossy(line.body()).into_owned();
                assert!(file.contains(&body) || body.starts_with("G1 X"), "{body}");
            }
        }
        let text = String::from_utf8_lossy(line.bytes()).into_owned();
        assert!(
            !text.starts_with("M104") && !text.contains("E99\n"),
            "{text}"
        );
    }
    assert!(comments > 10);
}
