//! `tintfall verify`.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use project::job::Job;
use project::write;
use render::View;
use weave::verify::deposition::Replayed;
use weave::verify::picture::{Shows, picture};
use weave::verify::{RegionLaid, Verified, Verify, first_layer, stands_or_found};
use weave::{Source, WeaveError};

use super::prepare::not_opened;
use super::weave::{Reading, not_woven};
use crate::console::Console;
use crate::fault::Fault;

/// No more regions than these are listed one by one.
const MOST_REGIONS: usize = 20;

/// Check a woven toolpath: is it the same print, and in the plan's colours?
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall verify lighthouse.plan.ron lighthouse-woven.gcode --before lighthouse.gcode

It reads the file as a machine would, passes the blends through the melt chamber, and compares each
bit of plastic at the skin with the plan. The exit code is 2 if:
  - the print is not the same
  - a command makes no sense, or is not one of those that were woven in
  - the file was woven from another plan
  - the part is more than 0.3 mm from the place in the file's header
  - the mean difference is more than --within")]
pub(crate) struct Args {
    /// The plan
    plan: PathBuf,
    /// The woven toolpath
    woven: PathBuf,
    /// The toolpath that it was woven from, to compare every move
    #[arg(long, value_name = "FILE")]
    before: Option<PathBuf>,
    /// Draw the print as replayed (PNG)
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Draw how far its colours are off the plan (PNG)
    #[arg(long, value_name = "FILE")]
    differences: Option<PathBuf>,
    /// Draw the first layer from above, with the order and the purge block (SVG)
    #[arg(long, value_name = "FILE")]
    first_layer: Option<PathBuf>,
    /// End with code 2 if the mean ΔE00 at the skin is more than this
    #[arg(long, value_name = "DE00")]
    within: Option<f64>,
    /// How many of the worst places to list
    #[arg(long, default_value_t = 5, value_name = "COUNT")]
    worst: usize,
    #[command(flatten)]
    reading: Reading,
}

/// Size of the pictures.
const SIZE_PX: [u32; 2] = [1200, 900];

impl Args {
    /// Verifies.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let dialect = self.reading.dialect.read()?;
        let (found, text) = console.working(|progress| {
            let job = Job::open(&self.plan, progress).map_err(not_opened)?;
            let painted = &job.painted;
            let fault = |error| not_woven(&self.woven, error);
            let open = || -> io::Result<Box<dyn Read>> { Ok(Box::new(File::open(&self.woven)?)) };
            let woven = Source::new(&open, size(&self.woven).map_err(fault)?);
            let open_before = || -> io::Result<Box<dyn Read>> {
                let path = self.before.as_deref().unwrap_or(&self.woven);
                Ok(Box::new(File::open(path)?))
            };
            let before = Source::new(&open_before, 0);
            let (given, settings) = (self.reading.stands(), self.reading.settings());
            let stands =
                stands_or_found(given, painted, &woven, settings, progress).map_err(fault)?;
            let verify = Verify {
                painted,
                dialect: &dialect,
                settings,
                stands,
                chamber: painted.plan().machine.chamber,
            };
            let before = self.before.as_ref().map(|_| &before);
            let found = verify.run(&woven, before, progress).map_err(fault)?;
            let pictures = [
                (&self.picture, Shows::Colours),
                (&self.differences, Shows::Differences),
            ];
            for (path, shows) in pictures {
                if let Some(path) = path {
                    let image =
                        picture(&found, painted, shows, View::FrontRight, SIZE_PX, progress)?;
                    write::file(path, |out| image.write_png(out))?;
                }
            }
            if let Some(path) = &self.first_layer {
                let replayed = Replayed {
                    painted,
                    dialect: &dialect,
                    settings,
                    heights_mm: f64::MIN..=f64::MAX,
                };
                let drawn = first_layer::svg(&replayed, &woven, progress).map_err(fault)?;
                let text = drawn.ok_or_else(|| Fault::input("nothing is printed"))?;
                write::file(path, |out| out.write_all(text.as_bytes()))?;
            }
            let text = self.told(&found);
            Ok::<_, Fault>((found, text))
        })?;
        for caution in &found.cautions {
            console.note(&format!("Note: {caution}"));
        }
        console.out(&text)?;
        match found.fault() {
            Some(what) => Err(Fault::Input(format!("{}: {what}", self.woven.display()))),
            None => self.judged(&found),
        }
    }

    /// Whether the colours are within the limit.
    fn judged(&self, found: &Verified) -> Result<(), Fault> {
        let Some(within) = self.within else {
            return Ok(());
        };
        match found.printed.mean_de00() {
            Some(mean) if mean <= within => Ok(()),
            Some(mean) => Err(Fault::input(format!(
                "{}: the mean ΔE00 at the skin is {mean:.2}, more than {within}",
                self.woven.display()
            ))),
            None => Err(Fault::input(format!(
                "{}: nothing is printed at the part's skin",
                self.woven.display()
            ))),
        }
    }

    fn told(&self, found: &Verified) -> String {
        let mut text = String::new();
        let mut line = |what: String| {
            text.push_str(&what);
            text.push('\n');
        };
        if let Some(same) = &found.same
            && same.holds()
        {
            line(format!(
                "The same print: {} moves at the same places, {} of them cut in pieces, the same \
                 filament within {:.0e} mm",
                same.moves,
                same.cut,
                same.filament_mm.abs().max(1e-9)
            ));
        }
        if let Some(laws) = &found.laws
            && laws.fault.is_none()
        {
            line(format!(
                "The same print in another order: all {} moves are in their layers, {} of them in \
                 pieces; {:.0} mm of filament goes into the purge block; no travel without \
                 retraction is longer than {:.1} mm ({:.1} mm before)",
                laws.moves, laws.cut, laws.purged_mm, laws.dry_mm[1], laws.dry_mm[0]
            ));
        }
        if found.plan_matches == Some(true) {
            line("Woven from this plan".to_owned());
        }
        if let Some(off) = found.placed_off_mm {
            line(format!(
                "The part is within {off:.2} mm of the place in the file's header"
            ));
        }
        if let Some(standing) = found.standing {
            line(format!(
                "Printed lines follow {:.0} % of its outline there, within {:.2} mm",
                100.0 * standing.covered,
                standing.off_mm
            ));
        }
        if found.beside_mm3 > 0.5 {
            line(format!(
                "{:.0} mm³ of {:.0} mm³ of plastic is part of no copy: brims, supports, purge block",
                found.beside_mm3, found.volume_mm3
            ));
        }
        line(format!("{} blend changes", found.changes));
        if let Some(mean) = found.printed.mean_de00() {
            line(format!(
                "Colours at the skin, after the melt chamber: mean ΔE00 {mean:.2}; half within \
                 {:.1}, 95 % within {:.1}",
                found.printed.within_de00(0.5),
                found.printed.within_de00(0.95)
            ));
        }
        for text in by_region(&found.regions) {
            line(text);
        }
        for miss in found.printed.worst(self.worst) {
            let [x, y, z] = miss.point_mm.to_array();
            line(format!(
                "  ΔE00 {:4.1} at x {x:.1}, y {y:.1}, z {z:.1} mm (line {}): requested {}, as \
                 printed {}",
                miss.de00,
                miss.line,
                shown(miss.asked),
                shown(miss.laid)
            ));
        }
        for (number, what) in &found.unclear {
            line(format!("  line {number} makes no sense: {what}"));
        }
        text
    }
}

/// A line for each of several regions; of many, the farthest off and how far off the others are.
fn by_region(regions: &[RegionLaid]) -> Vec<String> {
    if regions.len() < 2 {
        return Vec::new();
    }
    let mut listed: Vec<&RegionLaid> = regions.iter().collect();
    if listed.len() > MOST_REGIONS {
        listed.sort_by(|a, b| b.mean_de00.total_cmp(&a.mean_de00));
    }
    let (full, more) = listed.split_at(listed.len().min(MOST_REGIONS));
    let mut lines: Vec<String> = full
        .iter()
        .map(|region| {
            format!(
                "  {}: mean ΔE00 {:.2} over {:.0} mm³ of its skin",
                region.name, region.mean_de00, region.volume_mm3
            )
        })
        .collect();
    if let Some(next) = more.first() {
        lines.push(format!(
            "  and {} more regions, each with a mean ΔE00 of {:.2} or less",
            more.len(),
            next.mean_de00
        ));
    }
    lines
}

fn shown(lab: blend::Lab) -> String {
    format!("L* {:.0} a* {:.0} b* {:.0}", lab.l, lab.a, lab.b)
}

fn size(path: &Path) -> Result<u64, WeaveError> {
    std::fs::metadata(path)
        .map(|data| data.len())
        .map_err(WeaveError::Open)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_many_regions_the_farthest_off_are_listed() {
        let region = |i: usize| RegionLaid {
            name: format!("Band {i}"),
            volume_mm3: 9.6,
            mean_de00: i as f64 / 10.0,
        };
        let regions: Vec<RegionLaid> = (0..30).map(region).collect();
        let lines = by_region(&regions);
        assert_eq!(lines.len(), MOST_REGIONS + 1);
        assert_eq!(
            lines[0],
            "  Band 29: mean ΔE00 2.90 over 10 mm³ of its skin"
        );
        let last = "  and 10 more regions, each with a mean ΔE00 of 0.90 or less";
        assert_eq!(lines[MOST_REGIONS], last);
        assert_eq!(
            by_region(&regions[..20])[0],
            "  Band 0: mean ΔE00 0.00 over 10 mm³ of its skin"
        );
        assert!(by_region(&regions[..1]).is_empty());
    }
}
