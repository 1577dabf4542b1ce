//! `tintfall match`.

use std::path::PathBuf;

use blend::reach::{Match, sample};
use blend::{Lab, MixModel, SpoolColour, Srgb, ciede2000, closest};
use plan::Plan;
use project::job::read_plan;
use project::write;
use report::reach_chart::ReachChart;
use serde::Serialize;

use super::prepare::not_opened;
use crate::console::Console;
use crate::fault::Fault;

/// Find the blend of a plan's spools that comes nearest to a colour
#[derive(clap::Args)]
#[command(after_help = "\
Examples:
  tintfall match lighthouse.plan.ron '#7fa3b5'
  tintfall match lighthouse.plan.ron 'Lab(41.2, 9, -40.5)' --chart reach.svg

The blend is one that the plan's machine can feed. All differences are CIEDE2000.")]
pub struct Args {
    /// The plan
    plan: PathBuf,
    /// The colour: an sRGB code in quotation marks, or Lab(L, a, b)
    colour: String,
    /// Draw what the spools can reach, and this colour in it, as an SVG picture
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// Write JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Dots of a chart: a curve needs few, an area or a body more.
const CURVE: usize = 201;
const AREA: usize = 2000;

/// What is told, for other programs.
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
}

impl Args {
    /// Finds it.
    pub fn run(self, console: &Console) -> Result<(), Fault> {
        let wanted = wanted(&self.colour)?;
        if let Some(chart) = &self.chart {
            check_ending(chart)?;
        }
        let plan = read_plan(&self.plan).map_err(not_opened)?;
        let model = plan.model();
        let found = console.working(|progress| {
            progress.stage("Looking for the nearest blend");
            nearest(&plan, model.as_ref(), wanted)
        });
        if let Some(path) = &self.chart {
            let svg = chart(&plan, model.as_ref(), wanted, found);
            write::bytes(path, svg.as_bytes())?;
        }
        let report = Report {
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

/// The nearest blend that the machine can feed. A machine that keeps every component moving
/// feeds something else than the search knows of, so the blend is looked at once more.
fn nearest(plan: &Plan, model: &dyn MixModel, wanted: Lab) -> Match {
    let found = closest(model, wanted, plan.machine.share_limits());
    let shares = plan.machine.fed(&found.shares);
    let lab = model.mix(&shares).to_lab();
    Match {
        shares,
        lab,
        delta_e00: ciede2000(wanted, lab),
        ..found
    }
}

fn wanted(text: &str) -> Result<Lab, Fault> {
    let wrong = || {
        Fault::Input(format!(
            "'{text}' is no colour; write six hexadecimal digits after a #, in quotation marks, \
             such as '#1f6f8b', or CIELAB as 'Lab(41.2, 9, -40.5)'"
        ))
    };
    if let Ok(code) = text.trim().parse::<Srgb>() {
        return Ok(code.to_xyz().to_lab());
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
    let lab = Lab { l, a, b };
    match SpoolColour::Lab(lab).is_believable() {
        true => Ok(lab),
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
        title: format!("What the spools of {} reach", named(plan)),
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
            None => "unmeasured: how far off that is, nobody knows".to_owned(),
        }
    ));
    text.push_str(&format!(
        "Miss: {:.1} ΔE00; {}\nColours by {}\n",
        report.delta_e00, report.why, report.model
    ));
    text
}
