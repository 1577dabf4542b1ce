//! Pictures and letters on a part: from the plan to the hand-off.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod common;

use std::fs;
use std::path::Path;

use common::{HAND_OFF, areas_mm2, done, painted, run, signed_hand_off, tintfall};

/// A picture of a black disk on white, 64 × 64 pixels, with an edge of greys.
fn disk(radius_px: f64) -> Vec<u8> {
    let ink = |i: usize| {
        let (x, y) = ((i % 64) as f64 + 0.5 - 32.0, (i / 64) as f64 + 0.5 - 32.0);
        let dark = (radius_px - x.hypot(y) + 0.5).clamp(0.0, 1.0);
        let grey = (255.0 * (1.0 - dark)).round() as u8;
        [grey, grey, grey, 255]
    };
    let rgba = (0..64 * 64).flat_map(ink).collect();
    let image = render::Image::from_rgba(64, 64, rgba).unwrap();
    let mut file = Vec::new();
    image.write_png(&mut file).unwrap();
    file
}

/// A block of 40 × 10 × 30 mm with a picture, letters and a fade along a picture on its front.
fn with_block(regions: &str) -> tempfile::TempDir {
    let mesh = geometry::solids::cuboid(geometry::DVec3::new(40.0, 10.0, 30.0)).unwrap();
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("block.stl"),
        geometry::read::mesh_to_stl(&mesh),
    )
    .unwrap();
    fs::write(folder.path().join("disk.png"), disk(24.0)).unwrap();
    let plan = format!(
        r##"(
    version: 1,
    title: "Badge",
    mesh: (file: "block.stl"),
    spools: [
        (name: "Deep blue", colour: Hex("#1f4e8c")),
        (name: "Warm white", colour: Hex("#f2ecdc")),
    ],
    layers: (first_layer_mm: 0.5, layer_mm: 0.5),
    regions: [
        (name: "Body", mask: Whole, paint: Fixed([0, 1])),
        {regions}
    ],
)
"##
    );
    fs::write(folder.path().join("block.plan.ron"), plan).unwrap();
    folder
}

const DISK: &str = r#"(name: "Disk", mask: Picture(
        file: "disk.png",
        laid: Projected(at_mm: (0, -5, 15), along: (0, 1, 0), depth_mm: 2),
        width_mm: 20,
    ), paint: Fixed([1, 0])),"#;

fn refused(folder: &Path) -> String {
    let output = run(folder, &["preflight", "block.plan.ron"]);
    assert!(!output.status.success());
    String::from_utf8(output.stderr).unwrap()
}

/// The area of each region that a schedule was made of.
fn area_of(folder: &Path, region: &str) -> f64 {
    tintfall(folder, &["prepare", "block.plan.ron", "--out", "out"]);
    let painted = painted(folder);
    let areas = areas_mm2(&painted);
    let index = painted.plan().regions.iter().position(|r| r.name == region);
    areas[index.unwrap()]
}

/// A disk of 24 of 64 pixels in a picture 20 mm wide: radius 7.5 mm.
#[test]
fn a_picture_is_on_the_part_with_its_own_area() {
    let folder = with_block(DISK);
    let area = area_of(folder.path(), "Disk");
    let wanted = std::f64::consts::PI * 7.5 * 7.5;
    assert!((area / wanted - 1.0).abs() < 5e-3, "{area} {wanted}");
}

/// Half over the block's upper front edge, a disk on the skin keeps its area; and where its middle
/// is off the skin, the plan is refused.
#[test]
fn a_picture_on_the_skin_goes_over_an_edge_with_its_own_area() {
    let laid = "Projected(at_mm: (0, -5, 15), along: (0, 1, 0), depth_mm: 2)";
    let on_skin = |at: &str| {
        let laid_so = format!("OnSkin(at_mm: {at}, along: (0, 1, 0), depth_mm: 1)");
        with_block(&DISK.replace(laid, &laid_so))
    };
    let area = area_of(on_skin("(3, -5, 29)").path(), "Disk");
    let wanted = std::f64::consts::PI * 7.5 * 7.5;
    assert!((area / wanted - 1.0).abs() < 5e-3, "{area} {wanted}");
    let off = on_skin("(3, -9, 15)");
    let prepare = ["prepare", "block.plan.ron", "--out", "out"];
    let output = run(off.path(), &prepare);
    assert_eq!(output.status.code(), Some(2));
    let error = String::from_utf8(output.stderr).unwrap();
    assert!(error.contains("4.00 mm off the skin"), "{error}");
}

#[test]
fn letters_and_greys_are_prepared() {
    let folder = with_block(
        r#"(name: "Letters", mask: Text(
            text: "QUAY 3", height_mm: 6, bolder_mm: 0.3,
            laid: Projected(at_mm: (0, -5, 8), along: (0, 1, 0), depth_mm: 1),
        ), paint: Fixed([1, 0])),
        (name: "Shades", mask: Picture(
            file: "disk.png", covers: Frame, width_mm: 12,
            laid: Projected(at_mm: (0, -5, 22), along: (0, 1, 0), depth_mm: 1),
        ), paint: Fade(along: Picture(
            file: "disk.png", width_mm: 12,
            laid: Projected(at_mm: (0, -5, 22), along: (0, 1, 0), depth_mm: 1),
        ), fade: (stops: [(at_mm: 0, shares: [1, 0]), (at_mm: 100, shares: [0, 1])]))),"#,
    );
    let area = area_of(folder.path(), "Shades");
    assert!((area - 144.0).abs() < 1.5, "{area}");
    let schedule = fs::read_to_string(folder.path().join("out/schedule.csv")).unwrap();
    assert!(schedule.contains("Letters") && schedule.contains("Shades"));
}

#[test]
fn a_changed_picture_voids_the_signature_and_diff_tells() {
    let folder = with_block(DISK);
    let folder = folder.path();
    let list = signed_hand_off(folder);
    let name = b"source/disk.png";
    assert!(list.windows(name.len()).any(|w| w == name));

    fs::write(folder.join("disk.png"), disk(20.0)).unwrap();
    let said = tintfall(folder, &["diff", "block.plan.ron"]);
    assert!(
        said.contains("Region 'Disk': its area: Picture: its file holds something else"),
        "{said}"
    );
    let output = run(folder, &HAND_OFF);
    let error = String::from_utf8(output.stderr).unwrap();
    assert!(
        !output.status.success() && error.contains("the pictures, fonts or coloured models"),
        "{error}"
    );
}

#[test]
fn a_picture_that_the_plan_names_by_hash_must_be_just_that() {
    let hash = plan::document::sha256_hex(&disk(24.0));
    let region = DISK.replace(
        "\"disk.png\",",
        &format!("\"disk.png\", sha256: \"{hash}\","),
    );
    let folder = with_block(&region);
    assert!(area_of(folder.path(), "Disk") > 100.0);
    fs::write(folder.path().join("disk.png"), disk(20.0)).unwrap();
    let error = refused(folder.path());
    assert!(
        error.contains("disk.png: is not the file that the plan names"),
        "{error}"
    );
    assert!(error.contains("remove sha256"), "{error}");
}

#[test]
fn files_that_are_no_pictures_are_refused_in_words() {
    let folder = with_block(DISK);
    let file = folder.path().join("disk.png");
    for (bytes, wanted) in [
        (
            &b"<svg xmlns='http://www.w3.org/2000/svg'><text>QUAY</text></svg>"[..],
            "turn its text into paths",
        ),
        (b"GIF89a", "neither a PNG nor a JPEG"),
        (b"\x89PNG\r\n\x1a\n", "can't be read as a PNG"),
    ] {
        fs::write(&file, bytes).unwrap();
        let error = refused(folder.path());
        assert!(
            error.contains("disk.png") && error.contains(wanted),
            "{error}"
        );
    }
    fs::remove_file(&file).unwrap();
    assert!(refused(folder.path()).contains("disk.png: can't be read"));
    let text = r#"(name: "T", mask: Text(text: "H", font: "disk.png", height_mm: 5,
        laid: Projected(at_mm: (0, -5, 15), along: (0, 1, 0), depth_mm: 2)), paint: Fixed([1, 0])),"#;
    let folder = with_block(text);
    assert!(refused(folder.path()).contains("is not a font that can be read"));
}

#[test]
fn details_finer_than_a_line_are_told() {
    let letters = |bolder: &str| {
        format!(
            r#"(name: "Letters", mask: Text(
                text: "QUAY", height_mm: 4, {bolder}
                laid: Projected(at_mm: (0, -5, 8), along: (0, 1, 0), depth_mm: 1),
            ), paint: Fixed([1, 0])),"#
        )
    };
    let told = |bolder: &str| {
        let folder = with_block(&letters(bolder));
        tintfall(
            folder.path(),
            &["prepare", "block.plan.ron", "--out", "out"],
        );
        fs::read_to_string(folder.path().join("out/summary.json")).unwrap()
    };
    let thin = told("");
    assert!(thin.contains("finer than 0.5 mm, the height of a layer"));
    assert!(!told("bolder_mm: 0.3,").contains("finer than"));
}

/// A picture of 64 × 64 pixels in stripes: 8 clear, 20 blue, 24 white and 12 blue.
fn stripes(blue: [u8; 3]) -> Vec<u8> {
    let colour = |i: usize| match i % 64 {
        0..8 => [0; 4],
        28..52 => [0xf2, 0xec, 0xdc, 255],
        _ => [blue[0], blue[1], blue[2], 255],
    };
    let rgba = (0..64 * 64).flat_map(colour).collect();
    let image = render::Image::from_rgba(64, 64, rgba).unwrap();
    let mut file = Vec::new();
    image.write_png(&mut file).unwrap();
    file
}

const BLUE: [u8; 3] = [0x1f, 0x4e, 0x8c];

fn with_stripes(regions: &str) -> tempfile::TempDir {
    let folder = with_block(regions);
    fs::write(folder.path().join("stripes.png"), stripes(BLUE)).unwrap();
    folder
}

const LAY: [&str; 9] = [
    "lay",
    "block.plan.ron",
    "stripes.png",
    "--width=20",
    "--at=0,-5,15",
    "--along=0,1,0",
    "--depth=2",
    "--turn=0",
    "--colours",
];

fn lay(number: &'static str) -> Vec<&'static str> {
    LAY.into_iter().chain([number]).collect()
}

/// Stripes 20 mm high, in a picture 20 mm wide: the blue ones 10 mm together, the white 7.5 mm.
#[test]
fn a_pictures_colours_are_regions_with_their_areas() {
    let folder = with_stripes(DISK);
    let folder = folder.path();
    let said = tintfall(folder, &lay("auto"));
    assert!(
        said.contains("taken recommended") && said.contains("Stripes: "),
        "{said}"
    );
    let text = fs::read_to_string(folder.join("block.plan.ron")).unwrap();
    // What was there stays as it was: a picture without a hash gets none.
    assert_eq!(text.matches("sha256").count(), 2, "{text}");
    assert_eq!(text.matches("Colour(").count(), 2, "{text}");
    let painted = painted(folder);
    let regions = &painted.plan().regions;
    assert_eq!(regions.len(), 4);
    let areas = areas_mm2(&painted);
    for (region, (area, wanted)) in areas[2..].iter().zip([200.0, 150.0]).enumerate() {
        let name = &regions[2 + region].name;
        assert!((area / wanted - 1.0).abs() < 5e-3, "{name}: {area}");
    }
    let shares = |region: usize| {
        regions[region]
            .paint
            .one_blend()
            .unwrap()
            .as_slice()
            .to_vec()
    };
    assert!(shares(2)[0] > 0.95 && shares(3)[1] > 0.95);
    assert!(regions[2].name.ends_with("57 %"), "{}", regions[2].name);

    // The disk and the stripes are signed and handed over, and a changed picture is refused.
    let bytes = signed_hand_off(folder);
    let name = b"source/stripes.png";
    assert!(bytes.windows(name.len()).any(|w| w == name));
    fs::write(folder.join("stripes.png"), stripes([200, 40, 40])).unwrap();
    let error = refused(folder);
    assert!(
        error.contains("stripes.png: is not the file that the plan names"),
        "{error}"
    );
}

/// On a flat face the skin is flat, so that the stripes have the same areas there.
#[test]
fn colours_on_the_skin_of_a_flat_face_have_their_areas() {
    let folder = with_stripes("");
    let plan = folder.path().join("block.plan.ron");
    let mut args = lay("2");
    args[5] = "--on-skin";
    tintfall(folder.path(), &args);
    assert!(fs::read_to_string(&plan).unwrap().contains("OnSkin("));
    let areas = areas_mm2(&painted(folder.path()));
    for (area, wanted) in areas[1..].iter().zip([200.0, 150.0]) {
        assert!((area / wanted - 1.0).abs() < 5e-3, "{area} of {wanted}");
    }
}

#[test]
fn a_changed_picture_of_colours_voids_the_signature_and_diff_tells() {
    let folder = with_stripes("");
    let folder = folder.path();
    tintfall(folder, &lay("2"));
    let text = fs::read_to_string(folder.join("block.plan.ron")).unwrap();
    let kept = text.lines().filter(|line| !line.contains("sha256"));
    let text: String = kept.map(|line| format!("{line}\n")).collect();
    fs::write(folder.join("block.plan.ron"), text).unwrap();
    signed_hand_off(folder);
    fs::write(folder.join("stripes.png"), stripes([30, 60, 120])).unwrap();
    let said = tintfall(folder, &["diff", "block.plan.ron"]);
    assert!(said.contains("its file holds something else"), "{said}");
    let output = run(folder, &HAND_OFF);
    assert!(!output.status.success());
}

#[test]
fn colours_that_can_t_be_laid_are_refused_in_words_and_the_plan_stays() {
    let folder = with_stripes("");
    let folder = folder.path();
    let before = fs::read(folder.join("block.plan.ron")).unwrap();
    let told = |args: &[&str]| {
        let output = run(folder, args);
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        String::from_utf8(output.stderr).unwrap()
    };
    for number in ["0", "33", "many"] {
        let error = told(&lay(number));
        assert!(error.contains("a number from 1 to 32, or auto"), "{error}");
    }
    let mut args = lay("2");
    args[4] = "--at=0,-5";
    let error = told(&args);
    assert!(error.contains("three numbers"), "{error}");
    args[4] = "--at=0,0,15";
    args[5] = "--round";
    let error = told(&args);
    assert!(error.contains("is on the axis"), "{error}");
    args[5] = "--mirror";
    let error = told(&args);
    assert!(error.contains("--along"), "{error}");

    let clear = render::Image::from_rgba(4, 4, vec![0; 64]).unwrap();
    let mut file = Vec::new();
    clear.write_png(&mut file).unwrap();
    fs::write(folder.join("stripes.png"), file).unwrap();
    let error = told(&lay("2"));
    assert!(error.contains("stripes.png: is clear all over"), "{error}");
    fs::remove_file(folder.join("stripes.png")).unwrap();
    assert!(told(&lay("2")).contains("stripes.png: can't be read"));
    assert_eq!(fs::read(folder.join("block.plan.ron")).unwrap(), before);

    // A colour that is not in its list: with line and column.
    let region = DISK.replace(
        "width_mm: 20,",
        r##"width_mm: 20, covers: Colour(colour: "#123456", among: ["#ffffff"]),"##,
    );
    let folder = with_block(&region);
    let error = refused(folder.path());
    assert!(
        error.contains("line ") && error.contains("'#123456' is not in among"),
        "{error}"
    );
}

/// More blends than there are colours: the plan gets those that have an area.
#[test]
fn blends_that_only_soft_edges_have_get_no_region() {
    let folder = with_stripes("");
    let folder = folder.path();
    // Blue on white with one column of their mean between them.
    let colour = |i: usize| match i % 64 {
        0..31 => [0x1f, 0x4e, 0x8c, 255],
        31 => [0x89, 0x9d, 0xb4, 255],
        _ => [0xf2, 0xec, 0xdc, 255],
    };
    let rgba = (0..64 * 64).flat_map(colour).collect();
    let image = render::Image::from_rgba(64, 64, rgba).unwrap();
    let mut file = Vec::new();
    image.write_png(&mut file).unwrap();
    fs::write(folder.join("stripes.png"), file).unwrap();
    let output = done(folder, &lay("3"));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("They got no region"), "{said}");
    let plan = project::job::read_plan(&folder.join("block.plan.ron")).unwrap();
    assert_eq!(plan.regions.len(), 3);
}
