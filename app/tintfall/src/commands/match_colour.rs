//! `tintfall match`.

use std::path::{Path, PathBuf};

use blend::reach::{Match, sample};
use blend::spectrum::{Light, Readings, metamerism};
use blend::{Lab, MixModel, Shares, SpoolColour, Srgb, ciede2000, closest};
use plan::{Edit, NamedBlend, Plan};
use project::job::{Job, read_plan};
use project::write;
use report::reach_chart::ReachChart;
use serde::Serialize;

use super::place::Place;
use super::prepare::not_opened;
use super::swatch::text_of;
use crate::console::Console;
use crate::fault::Fault;

/// Find the blend of a plan's spools that comes nearest to a colour
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall match lighthouse.plan.ron '#7fa3b5'
  tintfall match lighthouse.plan.ron 'Lab(41.2, 9, -40.5)' --chart reach.svg
  tintfall match lighthouse.plan.ron sample.csv --light A
  tintfall match lighthouse.plan.ron --at-height 48 --store Dusk

A file of reflectances has a wavelength in nm and a reflectance on each line. Only such a sample
shows how the match looks in another light. The plan's machine can feed the blend. All differences
are CIEDE2000.")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// The colour: an sRGB code in quotation marks, Lab(L, a, b), or a file of reflectances
    #[arg(required_unless_present = "at_height", conflicts_with = "at_height")]
    colour: Option<String>,
    /// Use the colour of the part at this height, mm, instead
    #[arg(long, value_name = "MM")]
    at_height: Option<f64>,
    /// The region at that height; by default the most visible one
    #[arg(long, value_name = "NAME", requires = "at_height")]
    region: Option<String>,
    /// Use the colour as printed there, not the requested one
    #[arg(long, requires = "at_height")]
    as_printed: bool,
    /// Store the blend in the plan's list of named blends under this name. This rewrites the plan
    /// file, without your own comments
    #[arg(long, value_name = "NAME")]
    store: Option<String>,
    /// Draw the colours that the spools reach, with this one, as an SVG picture
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// Also check the match in another light: A, F11 or LED-B3 (all three for a file of
    /// reflectances)
    #[arg(long, value_name = "LIGHT")]
    light: Vec<Light>,
    /// Write JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Dots of a chart: a curve needs few, an area or a body more.
const CURVE: usize = 201;
const AREA: usize = 2000;

/// The report, for other programs.
#[derive(Serialize)]
struct Report<'a> {
    wanted: Lab,
    shares: Vec<f64>,
    spools: Vec<&'a str>,
    srgb: String,
    lab: Lab,
    delta_e00: f64,
    why: String,
    uncertainty_de00: Option<f64>,
    model: String,
    lights: Vec<InLight>,
}

impl Args {
    /// Finds it.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        if let Some(chart) = &self.chart {
            check_ending(chart)?;
        }
        let (plan, wanted_colour, there) = match (&self.colour, self.at_height) {
            (_, Some(height_mm)) => console.working(|progress| {
                let job = Job::open(&self.plan, progress).map_err(not_opened)?;
                let place = Place {
                    height_mm,
                    region: self.region.as_deref(),
                    as_printed: self.as_printed,
                };
                let (lab, there) = place
                    .colour(&job, progress)
                    .map_err(|why| why.of(&self.plan))?;
                Ok::<_, Fault>((job.painted.plan().clone(), SpoolColour::Lab(lab), there))
            })?,
            (colour, None) => {
                let colour = wanted(colour.as_deref().unwrap_or_default())?;
                (read_plan(&self.plan).map_err(not_opened)?, colour, None)
            }
        };
        let wanted = wanted_colour.xyz().to_lab();
        let model = plan.model();
        let found = console.working(|progress| {
            progress.stage("Looking for the nearest blend");
            let found = nearest(&plan, model.as_ref(), wanted);
            there.map_or(found, |shares| {
                fed(&plan, model.as_ref(), wanted, shares, found)
            })
        });
        if let Some(name) = &self.store {
            store(&self.plan, &plan, name, found.shares)?;
            console.note(&format!(
                "{} has the blend '{name}' now; give it to a region with paint: Blend(\"{name}\")",
                self.plan.display()
            ));
        }
        if let Some(path) = &self.chart {
            let svg = chart(&plan, model.as_ref(), wanted, found);
            write::bytes(path, svg.as_bytes())?;
        }
        let lights = match (&wanted_colour, self.light.is_empty()) {
            (SpoolColour::Spectrum(_), true) => &Light::OTHERS,
            _ => self.light.as_slice(),
        };
        let lights = in_lights(&wanted_colour, model.as_ref(), &found.shares, lights);
        for warning in lights.iter().filter_map(InLight::warning) {
            console.note(&format!("Warning: {warning}"));
        }
        let report = Report {
            lights,
            wanted,
            shares: found.shares.as_slice().to_vec(),
            spools: plan.spools.iter().map(|s| s.name.as_str()).collect(),
            srgb: found.lab.to_xyz().to_srgb().to_string(),
            lab: found.lab,
            delta_e00: found.delta_e00,
            why: found.why.to_string(),
            uncertainty_de00: model.uncertainty(&found.shares),
            model: model.name(),
        };
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&report).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&told(&report)),
        }
    }
}

/// Puts a blend into the plan file's list under a name.
fn store(path: &Path, plan: &Plan, name: &str, shares: Shares) -> Result<(), Fault> {
    let wrong = |why: &dyn std::fmt::Display| Fault::Input(format!("{}: {why}", path.display()));
    let mut plan = plan.clone();
    let named = NamedBlend {
        name: name.to_owned(),
        shares,
    };
    let mut blends = plan.blends.clone();
    match blends.iter_mut().find(|blend| blend.name == name) {
        Some(blend) => *blend = named,
        None => blends.push(named),
    }
    Edit::SetBlends(blends)
        .apply(&mut plan)
        .map_err(|e| wrong(&e))?;
    let text = plan.to_ron().map_err(|e| wrong(&e))?;
    Ok(write::bytes(path, text.as_bytes())?)
}

/// The nearest blend that the machine can feed. A machine that keeps every component moving feeds
/// another blend than the search assumes, so the blend is checked again.
fn nearest(plan: &Plan, model: &dyn MixModel, wanted: Lab) -> Match {
    let found = closest(model, wanted, plan.machine.share_limits());
    fed(plan, model, wanted, found.shares, found)
}

/// What the machine makes of a blend, as a match.
fn fed(plan: &Plan, model: &dyn MixModel, wanted: Lab, shares: Shares, found: Match) -> Match {
    let shares = plan.machine.fed(&shares);
    let lab = model.mix(&shares).to_lab();
    Match {
        shares,
        lab,
        delta_e00: ciede2000(wanted, lab),
        ..found
    }
}

/// A match in another light.
#[derive(Serialize)]
struct InLight {
    light: String,
    wanted: Lab,
    lab: Lab,
    delta_e00: f64,
    /// The part of that which comes from the light alone.
    metamerism_de00: f64,
    /// Whether the wanted colour's reflectance was measured, and not made up.
    measured: bool,
}

/// A match that fails by more than this in another light gets a warning, ΔE00: what an eye sees at
/// a glance (common practice, no source).
const FALLS_APART: f64 = 2.0;

impl InLight {
    fn warning(&self) -> Option<String> {
        (self.metamerism_de00 > FALLS_APART).then(|| {
            format!(
                "the match fails under {}: {:.1} ΔE00 more than in daylight; if you use the part \
                 in that light, choose the blend in it, or a spool with a closer pigment",
                self.light, self.metamerism_de00
            )
        })
    }
}

/// How the match looks in some lights. A colour without reflectances gets the smoothest one.
fn in_lights(
    wanted: &SpoolColour,
    model: &dyn MixModel,
    shares: &Shares,
    lights: &[Light],
) -> Vec<InLight> {
    let (sample, Some(blend)) = (wanted.spectrum(), model.spectrum(shares)) else {
        return Vec::new();
    };
    let each = lights.iter().map(|light| {
        let [wanted_lab, lab] = [sample, blend].map(|s| s.to_lab_under(*light));
        InLight {
            light: light.to_string(),
            wanted: wanted_lab,
            lab,
            delta_e00: ciede2000(wanted_lab, lab),
            metamerism_de00: metamerism(&sample, &blend, *light),
            measured: matches!(wanted, SpoolColour::Spectrum(_)),
        }
    });
    each.collect()
}

fn wanted(text: &str) -> Result<SpoolColour, Fault> {
    let wrong = || {
        Fault::Input(format!(
            "'{text}' is not a colour; write six hexadecimal digits after a #, in quotation marks, \
             such as '#1f6f8b', CIELAB as 'Lab(41.2, 9, -40.5)', or the name of a .csv file of \
             reflectances"
        ))
    };
    if let Ok(code) = text.trim().parse::<Srgb>() {
        return Ok(SpoolColour::Hex(code));
    }
    if text.to_ascii_lowercase().ends_with(".csv") {
        let read = text_of(Path::new(text))?;
        let readings =
            Readings::from_csv(&read).map_err(|e| Fault::Input(format!("{text}: {e}")))?;
        return Ok(SpoolColour::Spectrum(readings));
    }
    let inside = text
        .trim()
        .strip_prefix("Lab(")
        .and_then(|rest| rest.strip_suffix(')'))
        .ok_or_else(wrong)?;
    let numbers: Vec<f64> = inside
        .split(',')
        .map(|n| n.trim().parse::<f64>())
        .collect::<Result<_, _>>()
        .map_err(|_| wrong())?;
    let &[l, a, b] = numbers.as_slice() else {
        return Err(wrong());
    };
    let colour = SpoolColour::Lab(Lab { l, a, b });
    match colour.is_believable() {
        true => Ok(colour),
        false => Err(wrong()),
    }
}

fn check_ending(path: &std::path::Path) -> Result<(), Fault> {
    match path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("svg"))
    {
        true => Ok(()),
        false => Err(Fault::Input(format!(
            "{}: the chart is an SVG picture; give it the ending .svg",
            path.display()
        ))),
    }
}

fn chart(plan: &Plan, model: &dyn MixModel, wanted: Lab, found: Match) -> String {
    let about = if model.count() > 2 { AREA } else { CURVE };
    let reached = sample(model, plan.machine.share_limits(), about);
    let alone = |(i, spool): (usize, &blend::Spool)| {
        let shares = blend::Shares::pure(i, model.count());
        shares
            .map_or(spool.xyz(), |shares| model.mix(&shares))
            .to_lab()
    };
    let plan_spools = plan
        .spools
        .iter()
        .enumerate()
        .map(|(i, spool)| (spool.name.as_str(), alone((i, spool))))
        .collect();
    ReachChart {
        title: format!("Colours that the spools of {} reach", named(plan)),
        spools: plan_spools,
        reached: &reached,
        wanted: Some((wanted, found)),
    }
    .svg()
}

fn named(plan: &Plan) -> &str {
    match plan.title.trim() {
        "" => "this plan",
        title => title,
    }
}

fn told(report: &Report) -> String {
    let mut text = String::from("Nearest blend\n");
    for (share, spool) in report.shares.iter().zip(&report.spools) {
        text.push_str(&format!("  {:>5.1} %  {spool}\n", share * 100.0));
    }
    let shares: Vec<String> = report.shares.iter().map(|s| format!("{s:.4}")).collect();
    let shares: Vec<&str> = shares
        .iter()
        .map(|s| s.trim_end_matches('0').trim_end_matches('.'))
        .collect();
    text.push_str(&format!("In a plan: Fixed([{}])\n", shares.join(", ")));
    let Lab { l, a, b } = report.lab;
    text.push_str(&format!(
        "It should look like {} (L* {l:.1}, a* {a:.1}, b* {b:.1}), {}\n",
        report.srgb,
        match report.uncertainty_de00 {
            Some(error) => format!("give or take {error:.1} ΔE00"),
            None => "not measured, so its error is unknown".to_owned(),
        }
    ));
    let how = |measured: bool| match measured {
        true => "",
        false => ", assuming the smoothest reflectance",
    };
    for seen in &report.lights {
        text.push_str(&format!(
            "Under {}: {:.1} ΔE00 from the colour{}; {:.1} of it from the light alone\n",
            seen.light,
            seen.delta_e00,
            how(seen.measured),
            seen.metamerism_de00
        ));
    }
    text.push_str(&format!(
        "Difference: {:.1} ΔE00; {}\nColours by {}\n",
        report.delta_e00, report.why, report.model
    ));
    text
}
