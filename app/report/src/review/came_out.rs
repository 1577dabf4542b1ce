//! What came out: the records of prints.

use std::collections::BTreeMap;

use blend::{Lab, Srgb, Xyz};
use project::record::{PictureOf, Record, Row};

use super::html::{self, Cell, png_uri, swatch, table};
use super::page::Came;
use super::ribbon::{Drawing, Off, stacked};
use super::tables::{SHADES, section as titled};
use crate::markup::escaped;
use crate::sheet::ColourShare;

const STYLE: &str = include_str!("record.css");

/// What is seen at a height, by its number.
type Heights<'a> = BTreeMap<usize, Vec<&'a Row>>;

/// The rules for the section; none for a page without it.
pub(super) fn style(records: &[Came<'_>]) -> &'static str {
    match records {
        [] => "",
        _ => STYLE,
    }
}

/// The section; nothing without records.
pub(super) fn section(records: &[Came<'_>]) -> String {
    let inner = match records {
        [] => return String::new(),
        [one] => print(one),
        many => many
            .iter()
            .enumerate()
            .map(|(i, came)| format!("<h3>Print {}</h3>\n{}", i + 1, print(came)))
            .collect(),
    };
    titled("came-out", "What came out", &inner)
}

/// One print.
fn print(came: &Came<'_>) -> String {
    let record = &came.opened.record;
    let mut heights = Heights::new();
    for row in &record.rows {
        heights.entry(row.slot).or_default().push(row);
    }
    format!(
        "{}{}{}<div class=\"came\">\n<div>\n{}</div>\n<div class=\"ribbon\">\n{}</div>\n</div>\n{}{}",
        warning(came),
        figures(record, heights.len()),
        note(record),
        views(came),
        by_height(record, &heights),
        by_region(record),
        sources(came)
    )
}

fn warning(came: &Came<'_>) -> String {
    let Some(words) = came.warning() else {
        return String::new();
    };
    format!(
        "<div class=\"banner bad\" role=\"status\">{}<p>What was requested and should have come out \
         is shown as it was when the photographs were read, for the plan “{}”.</p></div>\n",
        escaped(&words),
        escaped(&came.opened.record.title)
    )
}

/// How far off it is, and how sure that is.
fn figures(record: &Record, heights: usize) -> String {
    let mut pairs = Vec::new();
    if let Some(summary) = &record.summary {
        pairs.extend([
            (
                "Seen against as printed, on average",
                format!("ΔE00 {:.1}", summary.mean_de00),
            ),
            (
                "Farthest from as printed",
                format!(
                    "ΔE00 {:.1}, at {:.1} mm",
                    summary.worst_de00, summary.worst_at_mm
                ),
            ),
            (
                "Seen against requested, on average",
                format!("ΔE00 {:.1}", summary.mean_off_requested_de00),
            ),
            (
                "Uncertainty of what is seen",
                format!("ΔE00 ± {:.1}, one standard error", summary.uncertainty_de00),
            ),
        ]);
    }
    let names: Vec<&str> = record.photographs.iter().map(|p| p.name.as_str()).collect();
    let references: Vec<String> = record
        .references
        .iter()
        .map(|grey| format!("{} {}", grey.place, grey.reflectance))
        .collect();
    pairs.extend([
        (
            "Heights read",
            format!("{heights}, of {} mm each", record.every_mm),
        ),
        ("Photographs", names.join(", ")),
        ("Read on", record.at.clone()),
        ("References on the card", references.join(", ")),
    ]);
    html::facts(&pairs)
}

fn note(record: &Record) -> &'static str {
    match record.summary {
        None => "<p>No height could be read.</p>\n",
        Some(_) => {
            "<p class=\"small soft\">Read from photographs. The uncertainty is that of the camera and \
             the shading. A photograph's errors go together: all colours may be off the same way. A \
             smaller difference than the uncertainty says nothing.</p>\n"
        }
    }
}

/// The pictures of each photograph.
fn views(came: &Came<'_>) -> String {
    let photographs = came.opened.record.photographs.iter().enumerate();
    let all = photographs.map(|(i, photograph)| {
        let name = escaped(&photograph.name);
        let pictures: String = PictureOf::ALL
            .into_iter()
            .filter_map(|of| picture(came, of, i + 1, &name))
            .collect();
        format!("<p class=\"photo\">{name}</p>\n<div class=\"views\">\n{pictures}</div>\n")
    });
    let scale = "<p class=\"small\">Difference: ΔE00 0<span class=\"scale\" \
                 style=\"background:linear-gradient(90deg,#e4e2dd,#f6be54,#ce4c1a,#5e0a1e)\"></span>10 \
                 and more</p>\n";
    format!("{}{scale}", all.collect::<String>())
}

/// One of them; `name` is HTML already.
fn picture(came: &Came<'_>, of: PictureOf, photograph: usize, name: &str) -> Option<String> {
    let png = came.opened.picture(of, photograph)?;
    let (caption, words) = match of {
        PictureOf::Requested => ("Requested", "The part as requested"),
        PictureOf::Printed => ("As printed", "The part as it should have come out"),
        PictureOf::Seen => ("Seen; grey was not read", "The part as seen"),
        PictureOf::Off => (
            "Seen against as printed",
            "How far seen is from as printed, where it was read",
        ),
    };
    Some(format!(
        "<figure><img src=\"{}\" width=\"{}\" height=\"{}\" alt=\"{words}, from the camera's place in \
         {name}.\"><figcaption>{caption}</figcaption></figure>\n",
        png_uri(png.bytes),
        png.width,
        png.height
    ))
}

/// Colours by height, and how far seen is from as printed.
fn by_height(record: &Record, heights: &Heights<'_>) -> String {
    let Some((&last, _)) = heights.last_key_value() else {
        return String::new();
    };
    let count = last.saturating_add(1);
    let every_mm = record.every_mm;
    let mut drawing = Drawing::new(
        3,
        (0.0, count as f64 * every_mm),
        "Colours from the bed to the top of what was read: as requested, as printed, as seen, and how \
         far seen is from as printed",
    );
    type Of = fn(&Row) -> Lab;
    let columns: [(&str, Of); 3] = [
        ("requested", |row| row.requested),
        ("as printed", |row| row.printed),
        ("seen", |row| row.seen),
    ];
    for (column, (head, of)) in columns.into_iter().enumerate() {
        let slices: BTreeMap<usize, Vec<ColourShare>> = heights
            .iter()
            .map(|(slot, rows)| (*slot, slice(rows, of)))
            .collect();
        let picture = stacked(count.saturating_mul(2), |part| {
            let slot = (part * count as f64) as usize;
            slices.get(&slot).map_or(&[][..], Vec::as_slice)
        });
        drawing.column(column, head, &picture);
    }
    let mut curves: Vec<Vec<Off>> = Vec::new();
    let mut next = 0;
    for (&slot, rows) in heights {
        if slot > next || curves.is_empty() {
            curves.push(Vec::new());
        }
        if slot > next {
            drawing.gap(next as f64 * every_mm, slot as f64 * every_mm);
        }
        if let Some(curve) = curves.last_mut() {
            curve.push(off(rows));
        }
        next = slot.saturating_add(1);
    }
    for curve in &mut curves {
        as_tall_as_its_height(curve, every_mm);
    }
    drawing.heights();
    drawing.differences(&curves);
    drawing.figure(
        "If a height shows several regions, they are side by side, each as wide as its share of what \
         was read. Gaps were not read. The curve is the mean ΔE00 between seen and as printed; within \
         the grey it may be the camera's.",
    )
}

/// A height by itself is a line as long as it is tall: a point would not be seen.
fn as_tall_as_its_height(curve: &mut Vec<Off>, every_mm: f64) {
    if let [only] = *curve.as_slice() {
        let at = |height_mm: f64| Off { height_mm, ..only };
        let half_mm = every_mm / 2.0;
        *curve = vec![at(only.height_mm - half_mm), at(only.height_mm + half_mm)];
    }
}

/// The regions of a height side by side, each as wide as it is seen.
fn slice(rows: &[&Row], of: fn(&Row) -> Lab) -> Vec<ColourShare> {
    let pixels: f64 = rows.iter().map(|row| row.pixels as f64).sum();
    let share = |row: &&Row| ColourShare {
        colour: shade(of(row)),
        share: row.pixels as f64 / pixels.max(1.0),
    };
    rows.iter().map(share).collect()
}

/// How far off a height is: the mean over its pixels.
fn off(rows: &[&Row]) -> Off {
    let pixels: f64 = rows.iter().map(|row| row.pixels as f64).sum();
    let mean = |of: &dyn Fn(&Row) -> f64| {
        let sum: f64 = rows.iter().map(|row| row.pixels as f64 * of(row)).sum();
        sum / pixels.max(1.0)
    };
    Off {
        height_mm: mean(&|row| row.height_mm),
        de00: mean(&Row::off_printed_de00),
        unsure_de00: Some(mean(&|row| row.uncertainty_de00)),
    }
}

fn shade(lab: Lab) -> Srgb {
    Xyz::from_lab(lab).to_srgb()
}

/// The regions that were seen.
fn by_region(record: &Record) -> String {
    let mut regions: BTreeMap<usize, Vec<&Row>> = BTreeMap::new();
    for row in &record.rows {
        regions.entry(row.region).or_default().push(row);
    }
    if regions.is_empty() {
        return String::new();
    }
    let rows = regions.iter().map(|(index, rows)| {
        let name = record.regions.get(*index);
        region(name.map_or("", String::as_str), rows)
    });
    let heads = [
        ("Region", false),
        ("Requested", false),
        ("As printed", false),
        ("Seen", false),
        ("Mean ΔE00", true),
        ("Worst ΔE00", true),
        ("Uncertainty, ΔE00", true),
        ("Heights", true),
    ];
    let caption = "Colours from the bottom up, where they were seen. ΔE00 is between seen and as \
                   printed.";
    table(caption, &heads, rows.collect())
}

fn region(name: &str, rows: &[&Row]) -> Vec<Cell> {
    let count = rows.len();
    let step = count.div_ceil(SHADES).max(1);
    let fill = |of: fn(&Row) -> Lab, words: &str| {
        let shades = rows.iter().step_by(step).map(|row| shade(of(row)));
        Cell::Html(swatch(&shades.collect::<Vec<Srgb>>(), words))
    };
    let off = rows.iter().map(|row| row.off_printed_de00());
    let (sum, worst) = off.fold((0.0, 0.0_f64), |(sum, most), de| (sum + de, most.max(de)));
    let unsure: f64 = rows.iter().map(|row| row.uncertainty_de00).sum();
    let mean = |sum: f64| format!("{:.1}", sum / count as f64);
    vec![
        Cell::Html(format!("<span class=\"name\">{}</span>", escaped(name))),
        fill(|row| row.requested, "the requested colours"),
        fill(|row| row.printed, "the colours as printed"),
        fill(|row| row.seen, "the colours seen"),
        Cell::Number(mean(sum)),
        Cell::Number(format!("{worst:.1}")),
        Cell::Number(format!("± {}", mean(unsure))),
        Cell::Number(count.to_string()),
    ]
}

/// What the record was made from.
fn sources(came: &Came<'_>) -> String {
    let record = &came.opened.record;
    let row = |what: String, hash: &str| {
        let hash = format!("<span class=\"code\">{}</span>", escaped(hash));
        vec![Cell::Text(what), Cell::Html(hash)]
    };
    let mut rows = vec![
        row("Record".to_owned(), &came.opened.sha256()),
        row(
            "Plan and all of its files, as they were then".to_owned(),
            &record.seal.whole_sha256,
        ),
    ];
    rows.extend(record.photographs.iter().map(|photograph| {
        let what = format!("Photograph {}", photograph.name);
        row(what, &photograph.sha256)
    }));
    let caption = format!(
        "Hashes are SHA-256. The record was made by {}.",
        record.made_by
    );
    table(&caption, &[("Read from", false), ("Hash", false)], rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use project::record::{Opened, Photograph, Taken};
    use project::signoff::Seal;

    fn row(region: usize, slot: usize, seen: f64) -> Row {
        let lab = |l: f64| Lab {
            l,
            a: 5.0,
            b: -20.0,
        };
        Row {
            region,
            slot,
            height_mm: 2.0 * slot as f64 + 1.0,
            pixels: 100,
            photographs: 1,
            requested: lab(40.0),
            printed: lab(44.0),
            seen: lab(seen),
            uncertainty_de00: 1.5,
        }
    }

    /// Of rows that are 2 mm tall, in the regions Foot and Ring.
    fn opened(rows: Vec<Row>) -> Opened {
        let seal = Seal {
            whole_sha256: "whole".into(),
            plan_file_sha256: "plan".into(),
            mesh_file_sha256: "mesh".into(),
            spools_file_sha256: None,
            machine_file_sha256: None,
            picture_files_sha256: BTreeMap::new(),
            files_of_mesh_sha256: BTreeMap::new(),
            contents_sha256: "contents".into(),
        };
        let taken = Taken {
            title: "Post".into(),
            photographs: vec![Photograph {
                name: "a<b>.jpg".into(),
                sha256: "photo".into(),
            }],
            references: Vec::new(),
            every_mm: 2.0,
            regions: vec!["Foot".into(), "Ring".into()],
            rows,
        };
        let at = "2026-03-01T09:30:00Z".to_owned();
        Opened {
            record: Record::new(taken, seal, at, Vec::new()).unwrap(),
            files: Vec::new(),
        }
    }

    fn shown(opened: &Opened, changed: &[&str]) -> String {
        let changed = changed.iter().map(|what| (*what).to_owned()).collect();
        section(&[Came { opened, changed }])
    }

    #[test]
    fn heights_that_were_not_read_are_open() {
        // 0 to 4 mm, then 10 to 12 mm, of which the ring has half.
        let rows = vec![
            row(0, 0, 44.0),
            row(0, 1, 44.0),
            row(0, 5, 44.0),
            row(1, 5, 54.0),
        ];
        let html = shown(&opened(rows), &[]);
        assert_eq!(html.matches("<polyline").count(), 2, "{html}");
        // One gap through three columns: 4 to 10 mm of 12 on a drawing of 520 below 40.
        let gap = "class=\"gap\" x=\"43\" y=\"126.7\" width=\"92\" height=\"260.0\"";
        assert!(html.contains(gap), "{html}");
        assert_eq!(html.matches("class=\"gap\"").count(), 3);
        // The ring is far from as printed; the foot is as printed.
        let off = row(1, 5, 54.0).off_printed_de00();
        for cell in [
            format!(">{off:.1}<"),
            ">0.0<".to_owned(),
            ">± 1.5<".to_owned(),
        ] {
            assert!(html.contains(&cell), "{cell} in {html}");
        }
        let (foot, ring) = (html.find("Foot").unwrap(), html.find("Ring").unwrap());
        assert!(foot < ring && html.contains("3, of 2 mm each"));
    }

    #[test]
    fn it_says_what_has_changed_and_escapes_names() {
        let record = opened(vec![row(0, 0, 44.0)]);
        assert!(!shown(&record, &[]).contains("another state"));
        let html = shown(&record, &["the mesh", "the plan"]);
        assert!(
            html.contains("Changed since: the mesh, the plan."),
            "{html}"
        );
        assert!(html.contains("a&lt;b&gt;.jpg") && !html.contains("a<b>"));
    }

    #[test]
    fn without_records_and_without_rows_nothing_is_made_up() {
        assert_eq!((section(&[]).as_str(), style(&[])), ("", ""));
        let html = shown(&opened(Vec::new()), &[]);
        assert!(html.contains("No height could be read."));
        assert!(!html.contains("<svg") && !html.contains("on average"));
    }
}
