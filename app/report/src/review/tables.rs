//! The page's tables.

use blend::{SpoolColour, Srgb};
use plan::compensate::How;
use plan::schedule::Dose;
use plan::watch::Watch;

use super::html::{self, Cell, list, swatch, table};
use super::page::Page;
use crate::amount::amount;
use crate::markup::escaped;
use crate::sheet::{Facts, RegionFact};

/// Shades that a swatch of what comes out is made of.
pub(super) const SHADES: usize = 24;

pub(super) fn section(id: &str, heading: &str, inner: &str) -> String {
    format!(
        "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{}</h2>\n{inner}</section>\n",
        escaped(heading)
    )
}

fn percent(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

/// What a region comes out as.
#[derive(Default)]
struct Out {
    shades: Vec<Srgb>,
    area_mm2: f64,
    sum_de00: f64,
    worst_de00: f64,
}

impl Out {
    fn mean_de00(&self) -> f64 {
        match self.area_mm2 > 0.0 {
            true => self.sum_de00 / self.area_mm2,
            false => 0.0,
        }
    }

    /// From the bottom up.
    fn of(page: &Page<'_>, region: usize) -> Self {
        let mut out = Self::default();
        let delivered = page.printed.delivery.layers.iter();
        for (layer, delivered) in page.schedule.layers.iter().zip(delivered) {
            let doses = layer.doses.iter().zip(&delivered.doses);
            for (asked, came) in doses.filter(|(dose, _)| dose.region == region) {
                if asked.area_mm2 > 0.0 {
                    out.shades.push(came.srgb);
                    out.area_mm2 += asked.area_mm2;
                    out.sum_de00 += asked.area_mm2 * came.de00;
                    out.worst_de00 = out.worst_de00.max(came.worst_de00);
                }
            }
        }
        let step = out.shades.len().div_ceil(SHADES).max(1);
        out.shades = out.shades.iter().copied().step_by(step).collect();
        out
    }
}

fn seen_regions<'a>(
    page: &'a Page<'_>,
    facts: &'a Facts,
) -> impl Iterator<Item = (usize, &'a RegionFact)> {
    // The base covers everything, hidden or not; hidden ones are left out.
    let regions = page.job.painted.plan().regions.iter().enumerate();
    let seen = regions.filter(|(i, region)| *i == 0 || !region.hidden);
    seen.map(|(i, _)| i).zip(&facts.regions)
}

/// The regions, requested and as printed.
pub(super) fn regions(page: &Page<'_>, facts: &Facts) -> String {
    let totals = &page.schedule.totals.regions;
    let rows = seen_regions(page, facts)
        .map(|(index, region)| {
            let out = Out::of(page, index);
            let total = totals.get(index);
            let number = |value: Option<f64>, unit: &str| match value {
                Some(value) => Cell::Number(format!("{value:.1}{unit}")),
                None => Cell::Number("–".into()),
            };
            vec![
                Cell::Html(format!(
                    "<span class=\"name\">{}</span>",
                    escaped(&region.name)
                )),
                Cell::Text(region.blend.clone()),
                Cell::Html(swatch(&region.shades, "the requested colours")),
                Cell::Html(swatch(
                    &out.shades,
                    "the colours as printed, from the bottom up",
                )),
                Cell::Number(format!("{:.1}", out.mean_de00())),
                Cell::Number(format!("{:.1}", out.worst_de00)),
                number(region.uncertainty, ""),
                Cell::Number(percent(region.area_share)),
                number(total.map(|t| t.mass_g), " g"),
            ]
        })
        .collect();
    let spools: Vec<&str> = facts.spools.iter().map(|s| s.name.as_str()).collect();
    let caption = format!(
        "Blends are percentages of {}, in that order. A later region covers an earlier one.",
        spools.join(" / ")
    );
    let heads = [
        ("Region", false),
        ("Blend", false),
        ("Requested", false),
        ("As printed", false),
        ("Mean ΔE00", true),
        ("Worst ΔE00", true),
        ("Uncertainty, ΔE00", true),
        ("Share of the surface", true),
        ("Plastic", true),
    ];
    section("regions", "Regions", &table(&caption, &heads, rows))
}

/// How well the printed colours match the requested ones.
pub(super) fn as_printed(page: &Page<'_>) -> String {
    let (delivery, sent) = (&page.printed.delivery, &page.printed.compensation);
    let how = match sent.how {
        How::Plain => "at their place",
        How::Shifted => "ahead of their place, by the lag of the melt chamber",
        How::Sharpened => "ahead of their place, with overshoot where that sharpens a change",
    };
    let pairs = [
        (
            "Off by, on average",
            format!("ΔE00 {:.2}", delivery.mean_de00),
        ),
        (
            "95 % of the surface within",
            format!("ΔE00 {:.2}", delivery.p95_de00),
        ),
        ("Worst place", format!("ΔE00 {:.1}", delivery.worst_de00)),
        ("When blend changes are sent", how.to_owned()),
        (
            "Without compensation, off by",
            format!("ΔE00 {:.2} on average", sent.before_de00),
        ),
        ("Blend changes sent", sent.commands.changes().to_string()),
    ];
    let note = "<p class=\"small soft\">Predicted from the mixing model and the melt chamber's \
                volumes. You can see about 1 ΔE00 side by side (common practice, no source).</p>\n";
    let inner = format!("{}{note}", html::facts(&pairs));
    section("printed", "Requested and as printed", &inner)
}

/// The spools, and how their colours are known.
pub(super) fn spools(page: &Page<'_>, facts: &Facts) -> String {
    let plan = page.job.painted.plan();
    let rows = plan
        .spools
        .iter()
        .zip(&facts.spools)
        .enumerate()
        .map(|(i, (spool, fact))| {
            let measured = &plan.spools.measured;
            let known = match (&spool.colour, measured) {
                (_, Some(measured))
                    if measured.spools.get(i).is_some_and(|m| m.name == spool.name) =>
                {
                    let error = measured.strength_errors.get(i).copied().unwrap_or(0.0);
                    format!("measured in blends; tinting strength ± {}", percent(error))
                }
                (SpoolColour::Hex(_), _) => "a colour code; not measured".to_owned(),
                (SpoolColour::Lab(_), _) => "measured alone, as CIELAB".to_owned(),
                (SpoolColour::Spectrum(_), _) => "measured alone, as a spectrum".to_owned(),
            };
            let lab = spool.xyz().to_lab();
            vec![
                Cell::Html(format!(
                    "{}. <span class=\"name\">{}</span>",
                    i + 1,
                    escaped(&spool.name)
                )),
                Cell::Html(swatch(&[fact.colour], "the spool's colour alone")),
                Cell::Text(format!(
                    "{}, L* {:.1} a* {:.1} b* {:.1}",
                    fact.colour, lab.l, lab.a, lab.b
                )),
                Cell::Text(known),
                Cell::Number(format!("{} mm", spool.diameter_mm)),
                Cell::Number(format!("{} g", amount(fact.mass_g))),
                Cell::Number(format!("{} m", amount(fact.length_m))),
                Cell::Number(percent(fact.share)),
            ]
        })
        .collect();
    let heads = [
        ("Inlet and spool", false),
        ("Colour", false),
        ("In numbers", false),
        ("Source", false),
        ("Diameter", true),
        ("Plastic", true),
        ("Filament", true),
        ("Share", true),
    ];
    let mut inner = table("In the order of the hotend's inlets.", &heads, rows);
    inner.push_str(&match &plan.spools.measured {
        None => "<p>The spools' blends were not measured: blend colours are guesses from the \
                 spools' own colours. Print and measure a test bar for better ones.</p>\n"
            .to_owned(),
        Some(measured) => {
            let steps = measured.steps.iter().filter(|s| !s.left_out).count();
            let from = &measured.provenance;
            let own = |text: &str| match text.trim() {
                "" => "not stated".to_owned(),
                text => text.to_owned(),
            };
            let mut pairs = vec![
                ("Steps measured", steps.to_string()),
                (
                    "Error of the fit",
                    format!("ΔE00 {:.2} (RMS)", measured.rms_delta_e00),
                ),
                ("Measured on", own(&from.measured_on)),
                ("Instrument", own(&from.instrument)),
                ("Readings", own(&from.file)),
            ];
            if let Some(rms) = measured.leave_one_out_rms_delta_e00 {
                let value = format!("ΔE00 {rms:.2} (RMS, each step left out in turn)");
                pairs.insert(2, ("Expected error of a new blend", value));
            }
            let doubts: Vec<String> = measured
                .warnings
                .iter()
                .map(|w| escaped(&w.to_string()))
                .collect();
            let doubts = match doubts.is_empty() {
                true => String::new(),
                false => list("warn", doubts.into_iter()),
            };
            format!("{}{doubts}", html::facts(&pairs))
        }
    });
    section("spools", "Spools, and how sure their colours are", &inner)
}

/// What is flushed away, and what would save some of it.
pub(super) fn waste(page: &Page<'_>) -> String {
    let waste = &page.printed.waste;
    let mut inner = match waste.flushes {
        0 => "<p>Nothing is flushed away.</p>\n".to_owned(),
        flushes => html::facts(&[
            (
                "Flushed away",
                format!("{:.1} g, {:.2} m of filament", waste.mass_g, waste.length_m),
            ),
            ("Flushes", flushes.to_string()),
            ("Compared with the part", percent(waste.ratio)),
            ("Takes about", format!("{:.0} minutes", waste.minutes)),
            (
                "Flushed inside the part",
                format!("{} cm³", amount(waste.inside_mm3 / 1000.0)),
            ),
        ]),
    };
    if !page.printed.suggestions.is_empty() {
        inner.push_str("<p>You can reduce it:</p>\n");
        let all = page.printed.suggestions.iter();
        inner.push_str(&list(
            "",
            all.map(|s| format!("{} Saves {:.1} g.", escaped(&s.text), s.saves_g)),
        ));
    }
    if let Some(offer) = &page.printed.jump_offer {
        inner.push_str(&format!("<p>{}</p>\n", escaped(&offer.text)));
    }
    section("waste", "Waste", &inner)
}

/// What to look for beside the printer.
pub(super) fn watch(page: &Page<'_>) -> String {
    let layers = &page.schedule.layers;
    let top = layers.last().map_or(0.0, |l| l.span.top_mm);
    let every = match top {
        t if t > 150.0 => 20.0,
        t if t > 60.0 => 10.0,
        t if t > 20.0 => 5.0,
        _ => 2.0,
    };
    let regions = &page.job.painted.plan().regions;
    let names = |doses: &[Dose]| {
        let mut seen: Vec<usize> = doses
            .iter()
            .filter(|d| d.area_mm2 > 0.0)
            .map(|d| d.region)
            .collect();
        seen.sort_unstable();
        seen.dedup();
        let names = seen.iter().filter_map(|&i| regions.get(i));
        names
            .map(|r| r.name.as_str())
            .collect::<Vec<_>>()
            .join(", ")
    };
    let mut rows = Vec::new();
    let (mut before, mut next) = (String::new(), 0.0);
    let mut laid_mm3 = 0.0;
    for (i, layer) in layers.iter().enumerate() {
        let here = names(&layer.doses);
        let due = layer.span.bottom_mm >= next - 1e-9;
        if due || here != before || i + 1 == layers.len() {
            let delivered = page.printed.delivery.layers.get(i);
            let shades: Vec<Srgb> = delivered
                .map(|l| l.doses.iter().map(|d| d.srgb).collect())
                .unwrap_or_default();
            let swatches: String = shades
                .iter()
                .take(4)
                .map(|shade| swatch(&[*shade], "the colour as printed"))
                .collect();
            let minutes = page.job.painted.plan().machine.minutes(laid_mm3);
            rows.push(vec![
                Cell::Text(format!("{:.2} mm", layer.span.bottom_mm)),
                Cell::Number((i + 1).to_string()),
                Cell::Number(format!("{:.0} min", minutes)),
                Cell::Text(here.clone()),
                Cell::Html(swatches),
            ]);
            if due {
                next = (layer.span.bottom_mm / every + 1e-6).floor() * every + every;
            }
        }
        before = here;
        laid_mm3 += layer.volume_mm3;
    }
    // A part whose regions change in every layer still gets a table of a page or two.
    let step = rows.len().div_ceil(80).max(1);
    let rows = rows.into_iter().step_by(step).collect();
    let heads = [
        ("Height", false),
        ("Layer", true),
        ("After about", true),
        ("Regions", false),
        ("Colours to see", false),
    ];
    let caption = "Times are at the machine's usual flow, without travel. If a colour appears at \
                   another height or not at all, stop and find the cause.";
    let inner = format!("{}{}", table(caption, &heads, rows), drives(page, every));
    section("watch", "While it prints", &inner)
}

/// What each drive should have done by each height.
fn drives(page: &Page<'_>, every_mm: f64) -> String {
    let plan = page.job.painted.plan();
    let watch = Watch::new(plan, page.schedule, page.printed, every_mm);
    let mut heads = vec![
        ("Height".to_owned(), false),
        ("After about".to_owned(), true),
    ];
    for spool in &watch.spools {
        heads.push((format!("{spool}, turns since"), true));
        heads.push(("filament since".to_owned(), true));
    }
    let rows = watch
        .rows
        .iter()
        .map(|row| {
            let mut cells = vec![
                Cell::Text(format!("{:.2} mm", row.height_mm)),
                Cell::Number(format!("{:.0} min", row.minutes)),
            ];
            for drive in &row.drives {
                cells.push(Cell::Number(format!("{:.1}", drive.turns_since)));
                cells.push(Cell::Number(format!("{:.0} mm", drive.filament_since_mm)));
            }
            cells
        })
        .collect();
    let heads: Vec<(&str, bool)> = heads.iter().map(|(h, n)| (h.as_str(), *n)).collect();
    let caption = "Each drive since the row above: turns of the marked gear, and how far a mark on \
                   the filament moves. A drive is at fault from the first row that does not agree.";
    format!("<h3>Drives</h3>\n{}", table(caption, &heads, rows))
}

/// Where all of it comes from.
pub(super) fn sources(page: &Page<'_>, facts: &Facts) -> String {
    let from = &page.schedule.provenance;
    let code = |hash: &str| format!("<span class=\"code\">{}</span>", escaped(hash));
    let mut rows = vec![
        vec![
            Cell::Text("Plan".into()),
            Cell::Html(code(&from.plan_sha256)),
        ],
        vec![
            Cell::Text(format!("Mesh, {}", from.mesh_file)),
            Cell::Html(code(&from.mesh_sha256)),
        ],
    ];
    for (label, value) in [
        ("Colours", &from.model),
        ("Machine", &from.machine),
        ("Route", &from.route),
        ("Made by", &from.made_by),
        ("Review", &from.review),
    ] {
        rows.push(vec![Cell::Text(label.into()), Cell::Text(value.clone())]);
    }
    for fact in &facts.totals {
        rows.push(vec![
            Cell::Text(fact.label.clone()),
            Cell::Text(fact.value.clone()),
        ]);
    }
    let heads = [("What", false), ("Value", false)];
    section(
        "sources",
        "Made from",
        &table("Hashes are SHA-256.", &heads, rows),
    )
}
