//! All that the print step needs, in one folder.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use geometry::layers::CutError;
use geometry::{Cancelled, Progress};
use plan::changes::Change;
use plan::schedule::{Laid, ScheduleError};
use plan::watch::Watch;
use plan::{AsPrinted, Painted, ReadBack, Schedule};
use rayon::prelude::*;

use project::job::Job;
use project::record::Opened;
use project::signoff::{self, Seal, SignoffError, Standing};
use project::write::{Folder, WriteError};
use render::Stage;
use report::patches::Patches;
use report::review::{self, Came, Page};
use report::schedule::{write_commands, write_csv, write_ron};
use report::sheet::{Facts, Finished, Sheet, SheetError};
use report::skin_colours::{colours, printed_colours};
use report::watch;

use crate::summary::{FILES, Summary, index, summary};

/// Why nothing was prepared.
#[derive(Debug, thiserror::Error)]
pub enum PrepareError {
    /// It was stopped.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The part can't be cut or scheduled as the plan says.
    #[error(transparent)]
    Schedule(ScheduleError),
    /// A file's content can't be put together: a fault of this program.
    #[error("{name} can't be made: {source}")]
    Content {
        /// The file.
        name: &'static str,
        /// Why.
        source: io::Error,
    },
    /// There is no sheet.
    #[error(transparent)]
    Sheet(SheetError),
    /// The plan's signatures can't be read.
    #[error(transparent)]
    Signoff(#[from] SignoffError),
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// What was prepared.
#[derive(Clone, Debug, PartialEq)]
pub struct Prepared {
    /// The files, in the order of [`FILES`].
    pub files: Vec<PathBuf>,
    /// The summary.
    pub summary: Summary,
    /// For each record of a print a warning, if it is of another state of the plan.
    pub records: Vec<Option<String>>,
}

/// Works out the schedule, draws the sheet, and writes all files into a folder. All of them
/// appear together; when anything fails, nothing is left and old files stay.
///
/// # Errors
/// [`PrepareError`].
pub fn prepare(job: &Job, folder: &Path, progress: &Progress) -> Result<Prepared, PrepareError> {
    prepare_woven(job, None, None, &[], folder, progress)
}

/// As [`prepare`], for the plastic of a toolpath where there is one, and with the figures of that
/// toolpath with the plan woven in, where it was woven: they are then those that reading it back
/// gives. The page has what was seen of prints, too, if there are records.
///
/// # Errors
/// [`PrepareError`].
pub fn prepare_woven(
    job: &Job,
    laid: Option<&Laid>,
    woven: Option<&ReadBack>,
    records: &[Opened],
    folder: &Path,
    progress: &Progress,
) -> Result<Prepared, PrepareError> {
    // Begun first: a folder that can't be written to should not cost the wait.
    let mut set = Folder::new(folder)?;
    let work = || Work::along(job, laid, woven, progress)?.with(records);
    let (work, shown) = side_by_side(job, work, review::patches, progress)?;
    let files = work.files(&shown, progress)?;
    drop(shown);
    progress.stage("Writing the files");
    for (name, content) in &files {
        progress.check()?;
        set.bytes(name, content)?;
    }
    let files = set.commit()?;
    Ok(Prepared {
        files,
        records: work.warnings(),
        summary: work.summary,
    })
}

/// The page to review, as [`prepare()`] writes it, with what was seen of prints: HTML.
///
/// # Errors
/// [`PrepareError`].
pub fn review_page(
    job: &Job,
    records: &[Opened],
    progress: &Progress,
) -> Result<String, PrepareError> {
    let work = || Work::new(job, progress)?.with(records);
    let (work, shown) = side_by_side(job, work, review::patches, progress)?;
    let changes = signoff::since_signed(job)?;
    Ok(work.page(&shown, changes.as_deref(), progress)?)
}

/// Works a job out and, beside it, makes ready what is shown of it; `cut` cuts the skin.
pub(crate) fn side_by_side<'a>(
    job: &'a Job,
    work: impl FnOnce() -> Result<Work<'a>, PrepareError> + Send,
    cut: impl FnOnce(&Painted, &Progress) -> Result<Patches, Cancelled> + Send,
    progress: &Progress,
) -> Result<(Work<'a>, Shown), PrepareError> {
    let beside = progress.beside();
    let shown = move || Shown::new(&job.painted, cut, &beside);
    let (work, shown) = rayon::join(work, shown);
    Ok((work?, shown?))
}

/// What pictures and pages show of a part and no schedule decides: made beside the schedule.
pub(crate) struct Shown {
    /// Light and shadow.
    stage: Stage,
    /// The skin cut along its colours, fades left whole.
    pub patches: Patches,
}

impl Shown {
    /// Makes it ready; `cut` cuts the skin.
    fn new(
        painted: &Painted,
        cut: impl FnOnce(&Painted, &Progress) -> Result<Patches, Cancelled> + Send,
        progress: &Progress,
    ) -> Result<Self, Cancelled> {
        let beside = progress.beside();
        let stage = || Stage::new(painted.surface(), &beside);
        let (patches, stage) = rayon::join(|| cut(painted, progress), stage);
        Ok(Self {
            stage: stage?,
            patches: patches?,
        })
    }
}

/// What is worked out once and written in many ways.
pub(crate) struct Work<'a> {
    job: &'a Job,
    /// How the plan stands.
    pub standing: Standing,
    /// What is asked for.
    pub schedule: Schedule,
    /// What will come out.
    pub printed: AsPrinted,
    /// What each drive should have done by each height.
    pub watch: Watch,
    /// The summary.
    pub summary: Summary,
    /// What was seen of prints.
    pub came: Vec<Came<'a>>,
}

/// Files at hand: names of [`FILES`] and their content.
type Made = Vec<(&'static str, Vec<u8>)>;

impl<'a> Work<'a> {
    /// Works out a job.
    pub(crate) fn new(job: &'a Job, progress: &Progress) -> Result<Self, PrepareError> {
        Self::along(job, None, None, progress)
    }

    /// Works out a job for the plastic of a toolpath where there is one, and for what was read
    /// back of it where it was woven.
    pub(crate) fn along(
        job: &'a Job,
        laid: Option<&Laid>,
        woven: Option<&ReadBack>,
        progress: &Progress,
    ) -> Result<Self, PrepareError> {
        let painted = &job.painted;
        let standing = signoff::standing(job)?;
        progress.stage("Making the schedule");
        let schedule = scheduled(job, laid, &standing, progress)?;
        let mut printed = AsPrinted::new(painted.plan(), painted.model(), &schedule, progress)?;
        if let Some(woven) = woven {
            printed = printed.read_back(painted.plan(), woven);
        }
        Ok(Self {
            summary: summary(job, &schedule, &printed, standing.clone()),
            watch: Watch::new(painted.plan(), &schedule, &printed, watch::EVERY_MM),
            job,
            standing,
            schedule,
            printed,
            came: Vec::new(),
        })
    }

    /// The same with what was seen of prints.
    pub(crate) fn with(self, records: &'a [Opened]) -> Result<Self, PrepareError> {
        let came = came(self.job, records)?;
        Ok(Self { came, ..self })
    }

    /// For each record a warning, if it is of another state of the plan.
    pub(crate) fn warnings(&self) -> Vec<Option<String>> {
        self.came.iter().map(Came::warning).collect()
    }

    /// The files of numbers alone, made side by side.
    pub(crate) fn tables(&self) -> Result<Made, PrepareError> {
        type Fill<'a> = &'a (dyn Fn(&mut Vec<u8>) -> io::Result<()> + Sync);
        let (schedule, printed) = (&self.schedule, &self.printed);
        let all: [(&'static str, Fill<'_>); 6] = [
            ("schedule.ron", &|out| write_ron(schedule, out)),
            ("schedule.csv", &|out| write_csv(schedule, printed, out)),
            ("commands.csv", &|out| {
                write_commands(schedule, printed, out)
            }),
            ("as-printed.ron", &|out| {
                let text = printed.to_ron().map_err(io::Error::other)?;
                out.write_all(text.as_bytes())
            }),
            ("watch.csv", &|out| {
                watch::write_csv(&self.watch, &schedule.provenance, out)
            }),
            ("summary.json", &|out| {
                serde_json::to_writer_pretty(&mut *out, &self.summary)?;
                writeln!(out)
            }),
        ];
        let made_of = |(name, fill): &(&'static str, Fill<'_>)| made(name, *fill);
        all.par_iter().map(made_of).collect()
    }

    /// All files, in the order of [`FILES`]; what can be made side by side is.
    pub(crate) fn files(&self, shown: &Shown, progress: &Progress) -> Result<Made, PrepareError> {
        let changes = signoff::since_signed(self.job)?;
        let lines = [progress.beside(), progress.beside()];
        let [beside, tabling] = &lines;
        let (sheet, (page, tables)) = rayon::join(
            || self.sheet(&shown.stage, progress),
            || {
                rayon::join(
                    || self.page(shown, changes.as_deref(), beside),
                    || {
                        tabling.stage("Writing tables");
                        self.tables()
                    },
                )
            },
        );
        let mut all = tables?;
        all.extend(sheet?);
        all.extend([
            ("review.html", page?.into_bytes()),
            ("index.txt", index(&self.summary, &self.came).into_bytes()),
        ]);
        let place = |name: &str| FILES.iter().position(|(n, _)| *n == name);
        all.sort_by_key(|(name, _)| place(name));
        Ok(all)
    }

    /// The sheet and what to hold beside the printer.
    fn sheet(&self, stage: &Stage, progress: &Progress) -> Result<Made, PrepareError> {
        let png = |name, page: &Finished| made(name, |out| page.image.write_png(out));
        let watch = || {
            let page = watch::page(&self.watch, &self.schedule.provenance);
            png(
                "watch.png",
                &page.ok_or(PrepareError::Sheet(SheetError::TooLarge))?,
            )
        };
        let sheet = || {
            let page = self.drawn(stage, progress)?;
            progress.stage("Writing pictures");
            png("sheet.png", &page)
        };
        let (sheet, watch) = rayon::join(sheet, watch);
        Ok(vec![sheet?, watch?])
    }

    fn drawn(&self, stage: &Stage, progress: &Progress) -> Result<Finished, PrepareError> {
        let painted = &self.job.painted;
        let mut facts = Facts::of(painted, &self.schedule, &self.printed, &self.job.told());
        facts.stamp.push(self.standing.stamp().to_owned());
        let asked = colours(painted);
        let printed = printed_colours(painted, &self.schedule, &self.printed);
        let drawn = Sheet::of(facts).run(stage, asked, printed, progress);
        drawn.map_err(|error| match error {
            SheetError::Cancelled(stop) => PrepareError::Cancelled(stop),
            error => PrepareError::Sheet(error),
        })
    }

    /// The review page by itself; `cut` cuts the skin.
    pub(crate) fn page_again(
        &self,
        cut: impl FnOnce(&Painted, &Progress) -> Result<Patches, Cancelled> + Send,
        progress: &Progress,
    ) -> Result<String, PrepareError> {
        let shown = Shown::new(&self.job.painted, cut, progress)?;
        let changes = signoff::since_signed(self.job)?;
        Ok(self.page(&shown, changes.as_deref(), progress)?)
    }

    /// The review page.
    fn page(
        &self,
        shown: &Shown,
        changes: Option<&[Change]>,
        progress: &Progress,
    ) -> Result<String, Cancelled> {
        let page = Page {
            job: self.job,
            schedule: &self.schedule,
            printed: &self.printed,
            standing: &self.standing,
            changes,
            records: &self.came,
            stage: &shown.stage,
            patches: &shown.patches,
        };
        page.html(progress)
    }
}

/// A file made in memory.
fn made(
    name: &'static str,
    fill: impl FnOnce(&mut Vec<u8>) -> io::Result<()>,
) -> Result<(&'static str, Vec<u8>), PrepareError> {
    let mut bytes = Vec::new();
    match fill(&mut bytes) {
        Ok(()) => Ok((name, bytes)),
        Err(source) => Err(PrepareError::Content { name, source }),
    }
}

/// The schedule of a job, marked with how its plan stands.
///
/// # Errors
/// [`PrepareError::Schedule`], or [`PrepareError::Cancelled`].
pub fn scheduled(
    job: &Job,
    laid: Option<&Laid>,
    standing: &Standing,
    progress: &Progress,
) -> Result<Schedule, PrepareError> {
    let made = Schedule::along(&job.painted, laid, progress);
    let mut schedule = made.map_err(not_scheduled)?;
    schedule.provenance.review = standing.words();
    Ok(schedule)
}

fn not_scheduled(error: ScheduleError) -> PrepareError {
    match error {
        ScheduleError::Cancelled(stop) | ScheduleError::Cut(CutError::Cancelled(stop)) => {
            PrepareError::Cancelled(stop)
        }
        error => PrepareError::Schedule(error),
    }
}

/// How records stand to a plan as it is now.
fn came<'a>(job: &Job, records: &'a [Opened]) -> Result<Vec<Came<'a>>, SignoffError> {
    if records.is_empty() {
        return Ok(Vec::new());
    }
    let now = Seal::of(&job.path, job.painted.plan())?;
    let came = |opened: &'a Opened| Came {
        opened,
        changed: opened.changed(&now),
    };
    Ok(records.iter().map(came).collect())
}
