//! What to weave, and how: the passes over a toolpath, one after another.

use std::io::{self, Read, Seek, Write};
use std::path::Path;

use geometry::Progress;
use plan::delivery::Commands;
use plan::schedule::Asked;
use plan::{Paint, Painted, Plan};
use project::signoff::Standing;
use project::write::{self, WriteError};
use toolpath::Settings;

use crate::arrange::{self, Arrange, Arranged, Purge};
use crate::dialect::{Dialect, Listener, Speaker};
use crate::emit::{self, Emitted};
use crate::overrides::Overrides;
use crate::register::{self, Levels, Placement, RegisterError, Registered, Stand};
use crate::verify::laws;
use crate::{Source, WeaveError, changes, header, survey};

pub use plan::compensate::How;

/// What to weave, and how.
pub struct Weave<'a> {
    /// The plan on its part.
    pub painted: &'a Painted,
    /// How the firmware is told.
    pub dialect: &'a Dialect,
    /// How to read what toolpaths leave open.
    pub settings: Settings,
    /// Where the copies stand, if given by hand; they are found otherwise.
    pub stands: Vec<Placement>,
    /// Whether and how runs may change places within their layer.
    pub arrange: Arrange,
    /// How the plan stands with those who looked it over.
    pub review: Standing,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Woven {
    /// Where the copies stand.
    pub registered: Registered,
    /// Changes put in and moves cut.
    pub emitted: Emitted,
    /// The changes by extruded volume of the whole file.
    pub commands: Commands,
    /// What was laid in another order, if anything was.
    pub arranged: Option<Arranged>,
    /// Plastic of the whole file, mm³.
    pub volume_mm3: f64,
    /// Moves that lay plastic.
    pub printing_moves: u64,
    /// Stretches of plastic that ask for another blend than the one before, or for none.
    pub stretches: u64,
    /// How the places of the changes were found.
    pub how: How,
    /// Mean ΔE00 by volume, the inside counted with what is seen about it, expected if changes
    /// stood at their place and as they stand; `None` where there are too many to work it out.
    pub expected_de00: Option<[f64; 2]>,
    /// Size of the toolpath that was read, bytes.
    pub bytes: u64,
    /// What a person should know before printing.
    pub cautions: Vec<String>,
}

/// Parts of the part's height at which outlines are compared first, and all of them if that is
/// not enough.
const LOW: [f64; 4] = [0.04, 0.1, 0.17, 0.25];
/// What tells two turns apart may be small and high up: every part of the height is looked at.
pub(crate) const ALL: [f64; 16] = [
    0.03, 0.08, 0.14, 0.2, 0.27, 0.34, 0.41, 0.48, 0.55, 0.62, 0.69, 0.76, 0.83, 0.89, 0.94, 0.98,
];

impl Weave<'_> {
    /// Weaves a file into another, which appears whole or not at all.
    ///
    /// # Errors
    /// [`WeaveError`] says what is wrong; the old file, if there was one, is untouched then.
    pub fn file(&self, from: &Path, to: &Path, progress: &Progress) -> Result<Woven, WeaveError> {
        Source::with_file(from, |source| self.write(source, to, progress))?
    }

    fn write(
        &self,
        source: &Source<'_>,
        to: &Path,
        progress: &Progress,
    ) -> Result<Woven, WeaveError> {
        let mut result = None;
        write::file(to, |out| {
            let woven = self.run(source, out, progress);
            let failed = woven.is_err();
            result = Some(woven);
            match failed {
                true => Err(io::Error::other("nothing was woven")),
                false => Ok(()),
            }
        })
        .or_else(|error| match &result {
            // The weaving's own reason says more.
            Some(Err(_)) => Ok(()),
            _ => Err(error),
        })?;
        match result {
            Some(Err(WeaveError::Output(source))) => Err(WeaveError::Write(WriteError {
                path: to.to_owned(),
                doing: "write",
                source,
            })),
            Some(result) => result,
            None => Err(WeaveError::Changed),
        }
    }

    /// Weaves.
    ///
    /// # Errors
    /// [`WeaveError`] says what is wrong.
    pub fn run(
        &self,
        source: &Source<'_>,
        out: &mut dyn Write,
        progress: &Progress,
    ) -> Result<Woven, WeaveError> {
        let plan = self.painted.plan();
        let speaker = Speaker::new(self.dialect, plan.spools.len())?;
        let asked = Asked::new(self.painted);
        let (registered, survey) = self.survey(source, &asked, progress)?;
        if let Some(line) = survey.tool_line {
            return Err(WeaveError::Tools { line });
        }
        self.check_height(&registered, &survey)?;
        let anew = self.arranged(source, &asked, &registered, progress)?;
        let survey = match &anew.file {
            Some(file) => self.survey_again(file, &asked, &registered, progress)?,
            None => survey,
        };
        let changes = {
            let arranged = anew.arranged.as_ref();
            let purged = arranged.is_some_and(|a| !a.blocks.is_empty());
            changes::changes(&survey, self.painted, purged)
        };
        let mut cautions = self.cautions(&registered, &survey, &changes);
        cautions.extend(anew.cautions);
        let header = header::text(&header::Facts {
            plan,
            plan_sha256: &plan.sha256()?,
            dialect: self.dialect,
            stands: &registered.stands,
            changes: &changes.commands.0,
            review: &self.review,
            arranged: anew.arranged.as_ref(),
            cautions: &cautions,
        });
        let job = emit::Job {
            survey: &survey,
            header: &header,
            changes: &changes.commands.0,
            filament_mm: plan.spools.first().map_or(1.75, |s| s.diameter_mm),
            on_moves: self.dialect.is_on_moves(),
        };
        let emitted = match &anew.file {
            Some(file) => self.emit_checked(&job, source, (file, out), speaker, progress)?,
            None => emit::emit(&job, source.read()?, speaker, out, progress)?,
        };
        Ok(Woven {
            registered,
            emitted,
            commands: changes.commands,
            arranged: anew.arranged,
            volume_mm3: survey.volume_mm3,
            printing_moves: survey.printing_moves,
            stretches: survey.stretches,
            how: changes.how,
            expected_de00: changes.de00,
            bytes: survey.bytes,
            cautions,
        })
    }

    /// Finds the part and follows the toolpath through the plan. A part that seemed found is
    /// looked for again in the whole file if there turn out to be copies further on.
    fn survey(
        &self,
        source: &Source<'_>,
        asked: &Asked<'_>,
        progress: &Progress,
    ) -> Result<(Registered, survey::Survey), WeaveError> {
        let overrides = Overrides::of(self.painted, progress)?;
        let run = |registered: &Registered| {
            let stands: Vec<Placement> = registered.stands.iter().map(|s| s.placement).collect();
            let wanted = survey::Wanted {
                asked,
                overrides: overrides.as_ref(),
                stands: &stands,
            };
            survey::survey(
                source.read()?,
                source.size_bytes(),
                self.settings,
                &wanted,
                progress,
            )
        };
        let (registered, whole) = self.register(source, true, progress)?;
        let surveyed = run(&registered)?;
        let doubtful = surveyed.comes_down || self.check_height(&registered, &surveyed).is_err();
        if whole || !doubtful || !self.stands.is_empty() {
            return Ok((registered, surveyed));
        }
        let (again, _) = self.register(source, false, progress)?;
        let lift_mm = |r: &Registered| r.stands.first().map(|s| s.placement.lift_mm);
        if again.stands.len() == registered.stands.len() && lift_mm(&again) == lift_mm(&registered)
        {
            return Ok((registered, surveyed));
        }
        let surveyed = run(&again)?;
        Ok((again, surveyed))
    }

    /// The toolpath laid in a better order, in a file of its own, if there is one.
    fn arranged(
        &self,
        source: &Source<'_>,
        asked: &Asked<'_>,
        registered: &Registered,
        progress: &Progress,
    ) -> Result<Anew, WeaveError> {
        let plan = self.painted.plan();
        let purges = turn_matters(plan) || plan.laying.purge_jumps;
        if self.arrange.purge == Purge::Stay || !purges {
            return Ok(Anew::default());
        }
        let overrides = Overrides::of(self.painted, progress)?;
        let stands: Vec<Placement> = registered.stands.iter().map(|s| s.placement).collect();
        let job = arrange::Job {
            how: &self.arrange,
            asked,
            overrides: overrides.as_ref(),
            stands: &stands,
            settings: self.settings,
        };
        let file = tempfile::NamedTempFile::new()?;
        let make =
            || -> io::Result<Box<dyn Write>> { Ok(Box::new(io::BufWriter::new(file.reopen()?))) };
        let open = || source.read();
        let found = arrange::arrange(&job, &open, source.size_bytes(), &make, progress)?;
        let arranged = match found {
            Ok(arranged) => arranged,
            Err(cautions) => {
                return Ok(Anew {
                    cautions,
                    ..Anew::default()
                });
            }
        };
        Ok(Anew {
            cautions: arranged.cautions.clone(),
            arranged: Some(arranged),
            file: Some(file),
        })
    }

    /// Writes what was laid anew, once the very bytes that are written keep the laws: the file
    /// is made aside, read back as `verify` reads it, and only then handed on.
    fn emit_checked(
        &self,
        job: &emit::Job<'_>,
        source: &Source<'_>,
        (file, out): (&tempfile::NamedTempFile, &mut dyn Write),
        speaker: Speaker<'_>,
        progress: &Progress,
    ) -> Result<Emitted, WeaveError> {
        let mut made = tempfile::tempfile()?;
        let emitted = emit::emit(job, opened(file)?, speaker, &mut made, progress)?;
        progress.stage("Checking the new order");
        made.rewind()?;
        let found = laws::check(
            source.read()?,
            &mut made,
            self.settings,
            Some(&mut Listener::new(
                self.dialect,
                self.painted.plan().spools.len(),
            )?),
            source.size_bytes(),
            progress,
        )?;
        if let Some(fault) = found.fault {
            return Err(WeaveError::Laws(fault));
        }
        made.rewind()?;
        io::copy(&mut made, out)?;
        Ok(emitted)
    }

    fn survey_again(
        &self,
        file: &tempfile::NamedTempFile,
        asked: &Asked<'_>,
        registered: &Registered,
        progress: &Progress,
    ) -> Result<survey::Survey, WeaveError> {
        let overrides = Overrides::of(self.painted, progress)?;
        let stands: Vec<Placement> = registered.stands.iter().map(|s| s.placement).collect();
        let wanted = survey::Wanted {
            asked,
            overrides: overrides.as_ref(),
            stands: &stands,
        };
        let size_bytes = file.as_file().metadata()?.len();
        survey::survey(opened(file)?, size_bytes, self.settings, &wanted, progress)
    }

    /// Where the copies stand, and whether the whole file was read for it.
    fn register(
        &self,
        source: &Source<'_>,
        early: bool,
        progress: &Progress,
    ) -> Result<(Registered, bool), WeaveError> {
        let plan = self.painted.plan();
        let mesh = self.painted.surface().mesh();
        if !self.stands.is_empty() {
            let levels = self.levels(source, &LOW, true, progress)?;
            let stands: Result<Vec<Stand>, RegisterError> = self
                .stands
                .iter()
                .map(|placement| register::measure(mesh, &plan.layers, &levels, *placement))
                .collect();
            let registered = Registered {
                stands: stands?,
                alike_turns_deg: Vec::new(),
                unsure_turns_deg: Vec::new(),
            };
            return Ok((registered, levels.whole));
        }
        let surface = self.painted.surface();
        let matters = turn_matters(plan);
        // Higher up the part may look different from each side.
        if early && !matters {
            let levels = self.levels(source, &LOW, true, progress)?;
            let found = register::register(surface, &plan.layers, &levels, progress);
            match found.and_then(Registered::sure) {
                Ok(registered) => return Ok((registered, levels.whole)),
                Err(RegisterError::Cancelled(cancelled)) => return Err(cancelled.into()),
                Err(_) => {}
            }
        }
        let levels = self.levels(source, &ALL, false, progress)?;
        let registered = register::register(surface, &plan.layers, &levels, progress)?;
        Ok(match matters {
            true => (registered.sure()?, true),
            false => (registered, true),
        })
    }

    fn levels(
        &self,
        source: &Source<'_>,
        parts: &[f64],
        early: bool,
        progress: &Progress,
    ) -> Result<Levels, WeaveError> {
        let (low, high) = self.painted.surface().mesh().bounds();
        let lift_mm = self.stands.first().map_or(0.0, |s| s.lift_mm);
        let layer_mm = self.painted.plan().layers.layer_mm;
        let heights = heights_mm(parts, high.z - low.z, lift_mm, layer_mm);
        Ok(register::gather(
            source.read()?,
            source.size_bytes(),
            self.settings,
            &heights,
            layer_mm,
            early,
            progress,
        )?
        .lifted(lift_mm))
    }

    fn check_height(
        &self,
        registered: &Registered,
        survey: &survey::Survey,
    ) -> Result<(), WeaveError> {
        let (_, high) = self.painted.surface().mesh().bounds();
        let lift_mm = registered
            .stands
            .first()
            .map_or(0.0, |s| s.placement.lift_mm);
        survey.of_height(high.z, lift_mm, self.painted.plan().layers.layer_mm)
    }

    fn cautions(
        &self,
        registered: &Registered,
        survey: &survey::Survey,
        changes: &changes::Changes,
    ) -> Vec<String> {
        let mut told: Vec<String> = survey
            .cautions
            .as_slice()
            .iter()
            .map(ToString::to_string)
            .collect();
        let turns = registered.alike_turns_deg.first();
        if let Some(turn) = turns.filter(|_| turn_matters(self.painted.plan())) {
            told.push(format!(
                "The toolpath fits the part equally well when turned by {turn:.0} degrees; the \
                 smallest rotation was used. If the colours come out turned, give the rotation by \
                 hand"
            ));
        }
        for (i, stand) in registered.stands.iter().enumerate() {
            if stand.residual_mm > register::MOST_RESIDUAL_MM || stand.followed < 0.85 {
                told.push(format!(
                    "Copy {} was placed by hand and fits badly: printed lines follow {:.0} % of \
                     its outline, within {:.2} mm",
                    i + 1,
                    stand.followed * 100.0,
                    stand.residual_mm
                ));
            }
        }
        let lift_mm = registered
            .stands
            .first()
            .map_or(0.0, |s| s.placement.lift_mm);
        let (_, high) = self.painted.surface().mesh().bounds();
        told.extend(survey.missing(high.z + lift_mm, self.painted.plan().layers.layer_mm));
        told.extend(changes.left_out_in_words());
        if self.painted.plan().laying.purge_jumps && self.arrange.purge != Purge::Block {
            told.push(
                "The plan purges where the blend jumps between layers, but nothing is purged now: \
                 use `--purge block`"
                    .to_owned(),
            );
        }
        if self.arrange.purge != Purge::Block {
            told.extend(changes.hurried_in_words());
        }
        told
    }
}

/// A toolpath in its new order.
#[derive(Default)]
struct Anew {
    arranged: Option<Arranged>,
    file: Option<tempfile::NamedTempFile>,
    cautions: Vec<String>,
}

fn opened(file: &tempfile::NamedTempFile) -> Result<Box<dyn Read>, WeaveError> {
    Ok(Box::new(file.reopen()?))
}

/// Heights above the plate at parts of a part's height, a layer apart at least, mm.
pub(crate) fn heights_mm(parts: &[f64], height_mm: f64, lift_mm: f64, layer_mm: f64) -> Vec<f64> {
    let mut heights: Vec<f64> = Vec::new();
    for part in parts {
        let at = (lift_mm + height_mm * part).max(lift_mm + layer_mm);
        if heights.last().is_none_or(|last| at > last + layer_mm) {
            heights.push(at);
        }
    }
    heights
}

/// Whether a plan asks for anything but height.
pub(crate) fn turn_matters(plan: &Plan) -> bool {
    plan.regions.iter().any(|region| {
        let level = match &region.paint {
            Paint::Fixed(_) | Paint::Blend(_) => true,
            Paint::Fade { along, .. } => along.depends_on_height_only(),
        };
        !(level && region.brush.is_empty() && region.mask.depends_on_height_only())
    })
}
