//! From a plan that somebody looked over to a hand-off that is checked on the other side.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use common::{refused, run, tintfall};
use serde_json::Value;

/// Runs it and checks that it complains once, with exit code 2, and gives what it says.
fn complains(folder: &Path, args: &[&str]) -> String {
    let error = refused(folder, args);
    assert!(error.starts_with("tintfall: "), "{args:?}: {error}");
    assert_eq!(error.matches("tintfall: ").count(), 1, "{error}");
    assert!(!error.contains("panicked"), "{args:?}: {error}");
    error
}

/// A post of 12 × 12 × 20 mm with a fade, a band and a painted dot.
fn with_post() -> tempfile::TempDir {
    let mesh = geometry::solids::cuboid(geometry::DVec3::new(12.0, 12.0, 20.0)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let bytes = geometry::read::mesh_to_stl(&mesh);
    fs::write(folder.path().join("post.stl"), bytes).unwrap();
    let (lo, hi) = mesh.bounds();
    let (x, y) = ((lo.x + hi.x) / 2.0, lo.y);
    let plan = format!(
        r##"(
    version: 1,
    title: "Post <for> the \"quay\" & more",
    mesh: (file: "post.stl"),
    spools: [
        (name: "Deep <blue>", colour: Hex("#1f4e8c")),
        (name: "Warm white", colour: Hex("#f2ecdc")),
    ],
    layers: (first_layer_mm: 0.4, layer_mm: 0.4),
    regions: [
        (name: "Body", mask: Whole, paint: Fade(along: Height, fade: (
            stops: [(at_mm: 2.0, shares: [1, 0]), (at_mm: 18.0, shares: [0, 1])],
        ))),
        (name: "Ring", mask: Band(from_mm: 8.0, to_mm: 10.0), paint: Fixed([0.25, 0.75])),
        (name: "Dot", mask: Sphere(centre_mm: ({x}, {y}, 14.0), radius_mm: 2.0), paint: Fixed([1, 0])),
    ],
)
"##
    );
    fs::write(folder.path().join("post.plan.ron"), plan).unwrap();
    folder
}

/// Changes one character of a file.
fn change(path: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(path).unwrap();
    assert_eq!(text.matches(from).count(), 1, "{from}");
    assert_eq!(from.len(), to.len());
    fs::write(path, text.replace(from, to)).unwrap();
}

fn sign(folder: &Path) {
    let note = "The ring as agreed";
    let said = tintfall(
        folder,
        &[
            "sign",
            "post.plan.ron",
            "--name",
            "Ada Keeper",
            "--note",
            note,
        ],
    );
    assert!(said.contains("Ada Keeper approved post.plan.ron"), "{said}");
}

/// How the plan stands, as the table to key in has it: the quickest way to ask.
fn stands(folder: &Path) -> String {
    let table = tintfall(folder, &["key-in", "post.plan.ron"]);
    table.lines().nth(1).unwrap().to_owned()
}

#[test]
fn a_signature_holds_until_one_character_changes() {
    let folder = with_post();
    let folder = folder.path();
    assert_eq!(stands(folder), "Not reviewed");
    let insist = [
        "prepare",
        "post.plan.ron",
        "--out",
        "no",
        "--require-review",
    ];
    assert!(complains(folder, &insist).contains("Not reviewed"));
    assert!(!folder.join("no").exists());

    sign(folder);
    assert!(stands(folder).contains("approved by Ada Keeper"));
    tintfall(folder, &insist);

    // A character that changes what is asked for, then one that only changes the text.
    let plan = folder.join("post.plan.ron");
    for (from, to, what) in [
        ("radius_mm: 2.0", "radius_mm: 2.1", "since: the plan"),
        ("\n    layers", " \n   layers", "since: the plan's text"),
    ] {
        change(&plan, from, to);
        let now = stands(folder);
        assert!(
            now.starts_with("Not reviewed") && now.contains("out of date"),
            "{now}"
        );
        assert!(now.contains(what), "{now}");
        assert!(complains(folder, &insist).contains("out of date"));
        change(&plan, to, from);
    }
    assert!(stands(folder).contains("approved by Ada Keeper"));

    // The mesh counts as well, and all that is written says so.
    let mesh = folder.join("post.stl");
    let mut bytes = fs::read(&mesh).unwrap();
    bytes[3] ^= 1;
    fs::write(&mesh, &bytes).unwrap();
    let prepare = ["prepare", "post.plan.ron", "--out", "out", "--json"];
    let summary: Value = serde_json::from_str(&tintfall(folder, &prepare)).unwrap();
    assert_eq!(summary["review"]["state"], "out_of_date");
    assert_eq!(summary["review"]["signed"]["name"], "Ada Keeper");
    assert_eq!(summary["review"]["changed"][0], "the mesh");
    for file in ["schedule.csv", "schedule.ron", "index.txt", "review.html"] {
        let text = fs::read_to_string(folder.join("out").join(file)).unwrap();
        assert!(
            text.contains("out of date; changed since: the mesh"),
            "{file}"
        );
    }
}

#[test]
fn a_woven_toolpath_says_whether_its_plan_was_reviewed() {
    let folder = with_post();
    let folder = folder.path();
    let mesh = geometry::solids::cuboid(geometry::DVec3::new(12.0, 12.0, 20.0)).unwrap();
    let layers = geometry::LayerPlan::plain(0.4, 0.4);
    let mut path = Vec::new();
    demo_models::toolpath(&mesh, &layers, &demo_models::recipe(1), &mut path).unwrap();
    fs::write(folder.join("part.gcode"), path).unwrap();
    let weave = |more: &[&str]| {
        let mut args = vec![
            "weave",
            "post.plan.ron",
            "part.gcode",
            "--out",
            "woven.gcode",
        ];
        args.extend(more);
        args.into_iter().map(str::to_owned).collect::<Vec<_>>()
    };
    let run =
        |args: Vec<String>| tintfall(folder, &args.iter().map(String::as_str).collect::<Vec<_>>());
    let head = || {
        let text = fs::read_to_string(folder.join("woven.gcode")).unwrap();
        text.lines().take(12).collect::<Vec<_>>().join("\n")
    };
    let insist = weave(&["--require-review"]);
    let insist: Vec<&str> = insist.iter().map(String::as_str).collect();
    assert!(complains(folder, &insist).contains("Not reviewed"));
    assert!(!folder.join("woven.gcode").exists());
    run(weave(&[]));
    assert!(head().contains("Not reviewed"), "{}", head());
    sign(folder);
    tintfall(folder, &insist);
    assert!(
        head().contains("Reviewed and approved by Ada Keeper"),
        "{}",
        head()
    );
    change(
        &folder.join("post.plan.ron"),
        "[0.25, 0.75]",
        "[0.35, 0.65]",
    );
    assert!(complains(folder, &insist).contains("out of date"));
    run(weave(&[]));
    assert!(head().contains("out of date"), "{}", head());
}

#[test]
fn sent_back_is_not_approved_and_bad_signatures_are_told() {
    let folder = with_post();
    let folder = folder.path();
    let sign_as = |more: &[&str]| {
        let mut args = vec!["sign", "post.plan.ron", "--name"];
        args.extend(more);
        args.into_iter().map(str::to_owned).collect::<Vec<_>>()
    };
    let args = sign_as(&["Ada Keeper", "--send-back"]);
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    assert!(complains(folder, &args).contains("--note"));
    assert!(complains(folder, &["sign", "post.plan.ron", "--name", " "]).contains("name"));
    let args = sign_as(&["Ada Keeper", "--send-back", "--note", "Dot is too low"]);
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    tintfall(folder, &args);
    let insist = [
        "prepare",
        "post.plan.ron",
        "--out",
        "no",
        "--require-review",
    ];
    assert!(complains(folder, &insist).contains("sent it back"));
    // The latest signature decides.
    sign(folder);
    tintfall(folder, &insist);

    // A signature that was changed by hand counts for nothing, and that is said.
    let file = folder.join("post.plan.review.ron");
    let text = fs::read_to_string(&file).unwrap();
    fs::write(
        &file,
        text.replace("The ring as agreed", "The ring as wished"),
    )
    .unwrap();
    let error = complains(folder, &["prepare", "post.plan.ron", "--out", "no"]);
    assert!(error.contains("post.plan.review.ron: line"), "{error}");
    assert!(
        error.contains("was changed after it was written"),
        "{error}"
    );
    fs::write(&file, "(version: 1, signatures: [").unwrap();
    let error = complains(folder, &["prepare", "post.plan.ron", "--out", "no"]);
    assert!(error.contains("post.plan.review.ron: line 1"), "{error}");
}

#[test]
fn the_review_page_stands_alone_and_escapes_names() {
    let folder = with_post();
    let folder = folder.path();
    tintfall(folder, &["prepare", "post.plan.ron", "--out", "out"]);
    let page = fs::read_to_string(folder.join("out/review.html")).unwrap();
    assert!(page.contains("Post &lt;for&gt; the &quot;quay&quot; &amp; more"));
    assert!(page.contains("Deep &lt;blue&gt;"));
    assert!(page.contains("Not reviewed"));
    assert!(page.contains("The plan has not been signed before."));
    for outside in ["http://", "https://", "src=\"//", "@import", "url("] {
        assert!(!page.contains(outside), "{outside}");
    }
    for part in [
        "Regions",
        "Spools",
        "Waste",
        "While it prints",
        "Take care",
        "Fire",
        "Made from",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert!(page.len() < 3 << 20, "{}", page.len());

    sign(folder);
    change(
        &folder.join("post.plan.ron"),
        "[0.25, 0.75]",
        "[0.35, 0.65]",
    );
    tintfall(folder, &["prepare", "post.plan.ron", "--out", "out"]);
    let page = fs::read_to_string(folder.join("out/review.html")).unwrap();
    assert!(page.contains("out of date; changed since: the plan"));
    assert!(page.contains("its blend from 25 / 75 to 35 / 65"));
}

#[test]
fn diff_says_and_draws_what_changed() {
    let folder = with_post();
    let folder = folder.path();
    let error = complains(folder, &["diff", "post.plan.ron"]);
    assert!(error.contains("never signed"), "{error}");
    sign(folder);
    assert_eq!(
        tintfall(folder, &["diff", "post.plan.ron"]),
        "The plans are the same.\n"
    );
    fs::copy(folder.join("post.plan.ron"), folder.join("new.plan.ron")).unwrap();
    change(&folder.join("new.plan.ron"), "to_mm: 10.0", "to_mm: 12.5");
    let words = tintfall(
        folder,
        &[
            "diff",
            "post.plan.ron",
            "new.plan.ron",
            "--picture",
            "diff.png",
        ],
    );
    assert_eq!(
        words,
        "Region 'Ring': its area: Band, to_mm from 10.0 to 12.5\n"
    );
    let picture = fs::read(folder.join("diff.png")).unwrap();
    assert!(picture.starts_with(b"\x89PNG"));
    let json: Value = serde_json::from_str(&tintfall(
        folder,
        &["diff", "post.plan.ron", "new.plan.ron", "--json"],
    ))
    .unwrap();
    assert_eq!(json[0]["about"], "Region 'Ring'");
}

#[test]
fn a_table_to_key_in_tells_how_far_it_is_off() {
    let folder = with_post();
    let folder = folder.path();
    let off = |fades: &str, stored: &str| -> (f64, f64, usize) {
        let args = [
            "key-in",
            "post.plan.ron",
            "--fades",
            fades,
            "--stored",
            stored,
            "--json",
        ];
        let json: Value = serde_json::from_str(&tintfall(folder, &args)).unwrap();
        let mean = |key: &str| json[key]["mean_de00"].as_f64().unwrap();
        let rows = json["fades"].as_array().unwrap();
        assert_eq!(rows[0]["from_mm"], 0.0);
        for pair in rows.windows(2) {
            assert_eq!(pair[0]["to_mm"], pair[1]["from_mm"]);
        }
        assert!(json["stored"].as_array().unwrap().len() <= stored.parse().unwrap());
        (mean("fades_off"), mean("stored_off"), rows.len())
    };
    let (one, two_stored, rows) = off("1", "2");
    let (five, many_stored, more_rows) = off("5", "20");
    assert_eq!(rows, 1);
    assert!(more_rows <= 5);
    // Fade, ring, fade: what is left is the dot, which shares its layers.
    assert!(five < 1.5 && five < 0.6 * one, "{one} {five}");
    assert!(many_stored < 0.5 * two_stored, "{two_stored} {many_stored}");
    let text = tintfall(folder, &["key-in", "post.plan.ron"]);
    assert!(text.contains("Not reviewed") && text.contains("Off the requested colours"));
    complains_about_arguments(folder, &["key-in", "post.plan.ron", "--fades", "0"]);
}

fn complains_about_arguments(folder: &Path, args: &[&str]) {
    assert_eq!(run(folder, args).status.code(), Some(2), "{args:?}");
}

#[test]
fn a_hand_off_made_here_is_checked_there() {
    let here = with_post();
    sign(here.path());
    for name in ["out", "out.zip"] {
        let args = [
            "handoff",
            "post.plan.ron",
            "--out",
            name,
            "--require-review",
        ];
        let said = tintfall(here.path(), &args);
        assert!(said.contains("approved by Ada Keeper"), "{said}");
    }
    // Elsewhere: nothing but the hand-off.
    let there = tempfile::tempdir().unwrap();
    copy_all(&here.path().join("out"), &there.path().join("got"));
    fs::copy(here.path().join("out.zip"), there.path().join("got.zip")).unwrap();
    for name in ["got", "got.zip"] {
        let said = tintfall(there.path(), &["check-handoff", name, "--require-review"]);
        assert!(said.contains("complete and unchanged"), "{said}");
        assert!(said.contains("approved by Ada Keeper"), "{said}");
        assert!(said.contains("part.3mf has the plan's blends"), "{said}");
    }
    let got = there.path().join("got");
    let wanted = [
        "SHA256SUMS",
        "as-printed.ron",
        "bodies",
        "commands.csv",
        "index.txt",
        "key-in.txt",
        "manifest.ron",
        "part.3mf",
        "part.glb",
        "part.ply",
        "review.html",
        "schedule.csv",
        "schedule.ron",
        "sheet.png",
        "source",
        "summary.json",
        "watch.csv",
        "watch.png",
    ];
    let mut names: Vec<String> = fs::read_dir(&got)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, wanted);

    // One character of the plan, and the manifest mended to hide it: the signature tells.
    let plan = got.join("source/post.plan.ron");
    change(&plan, "radius_mm: 2.0", "radius_mm: 2.1");
    let error = complains(there.path(), &["check-handoff", "got"]);
    assert!(
        error.contains("source/post.plan.ron was changed"),
        "{error}"
    );
    let hash = |path: &Path| plan::document::sha256_hex(&fs::read(path).unwrap());
    let (now, before) = (hash(&plan), hash(&here.path().join("post.plan.ron")));
    for list in ["manifest.ron", "SHA256SUMS"] {
        change(&got.join(list), &before, &now);
    }
    let error = complains(there.path(), &["check-handoff", "got"]);
    assert!(error.contains("out of date"), "{error}");
    assert!(error.contains("not true: the plan matches"), "{error}");
    change(&plan, "radius_mm: 2.1", "radius_mm: 2.0");
    for list in ["manifest.ron", "SHA256SUMS"] {
        change(&got.join(list), &now, &before);
    }
    tintfall(there.path(), &["check-handoff", "got"]);
    // A file too many, and one too few.
    fs::write(got.join("schedule-2.csv"), "1,2,3").unwrap();
    assert!(complains(there.path(), &["check-handoff", "got"]).contains("schedule-2.csv"));
    fs::remove_file(got.join("schedule-2.csv")).unwrap();
    fs::remove_file(got.join("part.glb")).unwrap();
    assert!(complains(there.path(), &["check-handoff", "got"]).contains("part.glb is missing"));
}

fn copy_all(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let place = to.join(entry.file_name());
        match entry.file_type().unwrap().is_dir() {
            true => copy_all(&entry.path(), &place),
            false => {
                fs::copy(entry.path(), place).unwrap();
            }
        }
    }
}

#[test]
fn hand_offs_that_must_not_be_trusted_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let check = |name: &str| complains(folder, &["check-handoff", name]);
    assert!(check("none").contains("does not exist"));
    fs::write(folder.join("text.zip"), "no zip at all").unwrap();
    assert!(check("text.zip").contains("not a complete ZIP file"));
    fs::create_dir(folder.join("empty")).unwrap();
    assert!(check("empty").contains("is it a hand-off?"));
    fs::write(folder.join("empty/manifest.ron"), "(version: 7)").unwrap();
    assert!(check("empty").contains("version 7"));

    // Names that point outside, and a bomb.
    for (zip, name) in [("up.zip", "../evil.txt"), ("root.zip", "/tmp/evil.txt")] {
        fs::write(folder.join(zip), zip_of(&[(name, b"x")])).unwrap();
        assert!(
            check(zip).contains("is a link or lies outside of it"),
            "{zip}"
        );
    }
    assert!(!folder.join("../evil.txt").exists());
    let zeros = vec![0u8; 80 << 20];
    fs::write(folder.join("bomb.zip"), zip_of(&[("a.txt", &zeros)])).unwrap();
    assert!(check("bomb.zip").contains("unpacks to more than"));

    // A plan that can't be taken along, and a target with other things in it.
    let post = with_post();
    let plan = post.path().join("post.plan.ron");
    let text = fs::read_to_string(&plan).unwrap();
    let far = post.path().join("post.stl");
    fs::write(&plan, text.replace("post.stl", far.to_str().unwrap())).unwrap();
    let error = complains(post.path(), &["handoff", "post.plan.ron", "--out", "out"]);
    assert!(error.contains("can't go into a hand-off"), "{error}");
    fs::create_dir(post.path().join("mine")).unwrap();
    fs::write(post.path().join("mine/letter.txt"), "dear").unwrap();
    let error = complains(post.path(), &["handoff", "post.plan.ron", "--out", "mine"]);
    assert!(error.contains("other files in it"), "{error}");
}

fn zip_of(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, content) in files {
        let options = zip::write::SimpleFileOptions::default();
        archive.start_file(*name, options).unwrap();
        std::io::Write::write_all(&mut archive, content).unwrap();
    }
    archive.finish().unwrap().into_inner()
}
