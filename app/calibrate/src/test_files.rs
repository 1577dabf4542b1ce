//! The files of a test print: part, plan, and the tables to fill in, all of them or none.

use std::path::{Path, PathBuf};

use plan::{Machine, SpoolSet};
use project::text_file::{TextFileError, read_text};
use project::write::{Folder, WriteError};

use super::guide;
use super::lag_test::LagTest;
use super::observations::read_lag;
use super::patches::{Card, Patches, StepRow};
use super::table::{Header, Row, Table};
use super::test_part::{Options, PartError, TestPart};

/// Why the files of a test print are not written.
#[derive(Debug, thiserror::Error)]
pub enum TestFilesError {
    /// Readings are work that nobody wants to do twice.
    #[error(
        "{}: this table has readings in it; choose another folder, or move the table",
        .0.display()
    )]
    Taken(PathBuf),
    /// A table that is there can't be read.
    #[error("{}: {why}", .path.display())]
    Read {
        /// The table.
        path: PathBuf,
        /// Why not.
        why: TextFileError,
    },
    /// A file's text can't be put together: a fault of this program.
    #[error("a file of the test print can't be made: {0}")]
    Content(String),
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// The test print for a set of spools: its bars by their file stems.
#[derive(Clone, Debug)]
pub struct Swatch {
    spools: SpoolSet,
    bars: Vec<(String, TestPart)>,
}

impl Swatch {
    /// The table to fill in.
    pub const TABLE: &str = "measured.csv";

    /// Makes the bars.
    ///
    /// # Errors
    /// [`PartError`].
    pub fn new(spools: SpoolSet, machine: &Machine, options: &Options) -> Result<Self, PartError> {
        let mesh_file = |bar, bars| format!("{}.stl", bar_name(bar, bars));
        let bars = TestPart::all(&spools, machine, options, mesh_file)?;
        let count = bars.len();
        let named = |(i, bar)| (bar_name(i, count), bar);
        Ok(Self {
            spools,
            bars: bars.into_iter().enumerate().map(named).collect(),
        })
    }

    /// The bars, each with the stem of its files.
    pub fn bars(&self) -> &[(String, TestPart)] {
        &self.bars
    }

    /// The file of a bar's plan.
    pub fn plan_file(folder: &Path, bar: &str) -> PathBuf {
        folder.join(format!("{bar}.plan.ron"))
    }

    /// Writes everything but schedules and sheets.
    ///
    /// # Errors
    /// [`TestFilesError`]; nothing is written then.
    pub fn write(&self, folder: &Path) -> Result<(), TestFilesError> {
        let table = folder.join(Self::TABLE);
        if table.exists() && Table::read(&text_of(&table)?).is_ok_and(|t| has_readings(&t)) {
            return Err(TestFilesError::Taken(table));
        }
        let mut set = Folder::new(folder)?;
        for (name, bar) in &self.bars {
            set.file(&format!("{name}.stl"), |out| {
                out.write_all(&geometry::read::mesh_to_stl(&bar.mesh))
            })?;
            let plan = bar.plan.to_ron().map_err(content)?;
            set.bytes(&format!("{name}.plan.ron"), plan.as_bytes())?;
        }
        let text = self.spools.to_ron().map_err(content)?;
        set.bytes("spools.ron", text.as_bytes())?;
        let text = self.empty_table().write().map_err(content)?;
        set.bytes(Self::TABLE, text.as_bytes())?;
        let text = self.patches().to_ron().map_err(content)?;
        set.bytes("patches.ron", text.as_bytes())?;
        let page = guide::text(&self.spools, &self.bars);
        set.bytes("how-to-measure.txt", page.as_bytes())?;
        set.commit()?;
        Ok(())
    }

    fn empty_table(&self) -> Table {
        let steps = self.bars.iter().flat_map(|(_, bar)| &bar.steps);
        let rows = steps.map(|step| Row {
            step: step.number,
            shares: step.shares,
            reading: None,
        });
        Table {
            header: Header {
                spools: Some("spools.ron".to_owned()),
                ..Header::default()
            },
            rows: rows.collect(),
        }
    }

    /// A first guess: bars lie side by side with their feet down, and a card stands at the left.
    fn patches(&self) -> Patches {
        let columns = self.bars.len() as f64 + 1.0;
        let rows = self.bars.iter().enumerate().filter_map(|(i, (_, bar))| {
            let (first, last) = (bar.steps.first()?, bar.steps.last()?);
            let x = (i as f64 + 1.5) / columns;
            let y = |mm: f64| 0.95 - 0.9 * mm / last.to_mm;
            Some(StepRow {
                first_step: first.number,
                last_step: last.number,
                first_centre: (hundredths(x), hundredths(y(first.measure_at_mm()))),
                last_centre: (hundredths(x), hundredths(y(last.measure_at_mm()))),
                size: (0.04, 0.03),
            })
        });
        Patches {
            version: 1,
            table: Self::TABLE.to_owned(),
            cards: vec![Card {
                reflectance: 0.18,
                centre: (hundredths(0.5 / columns), 0.5),
                size: (0.1, 0.1),
            }],
            rows: rows.collect(),
        }
    }
}

fn bar_name(bar: usize, bars: usize) -> String {
    match bars {
        1 => "swatch".to_owned(),
        _ => format!("swatch-{}", bar + 1),
    }
}

fn has_readings(table: &Table) -> bool {
    table.rows.iter().any(|row| row.reading.is_some())
}

fn hundredths(v: f64) -> f64 {
    (v * 100.0).round() / 100.0
}

impl LagTest {
    /// The stem of its files.
    pub const NAME: &str = "lag-test";

    /// The copy of a file of measured spools that goes beside its plan.
    pub const MEASURED: &str = "spools.ron";

    /// Has the plan name the measured spools beside it: the fit rests on how they mix.
    pub fn name_measured(&mut self, spools: SpoolSet) {
        self.plan.spools = spools.into();
        self.plan.spools.file = Some(Self::MEASURED.to_owned());
    }

    /// Writes everything but schedule and sheet; `measured` is the text of the measured spools.
    ///
    /// # Errors
    /// [`TestFilesError`]; nothing is written then.
    pub fn write(&self, folder: &Path, measured: Option<&str>) -> Result<(), TestFilesError> {
        for name in ["colours.csv", "ends.csv"] {
            let table = folder.join(name);
            if table.exists() && read_lag(&text_of(&table)?).is_ok() {
                return Err(TestFilesError::Taken(table));
            }
        }
        let mut set = Folder::new(folder)?;
        set.file("lag-test.stl", |out| {
            out.write_all(&geometry::read::mesh_to_stl(&self.mesh))
        })?;
        let plan = self.plan.to_ron().map_err(content)?;
        set.bytes("lag-test.plan.ron", plan.as_bytes())?;
        if let Some(text) = measured {
            set.bytes(Self::MEASURED, text.as_bytes())?;
        }
        set.bytes("colours.csv", self.colour_table().as_bytes())?;
        set.bytes("ends.csv", self.ends_table().as_bytes())?;
        set.bytes("how-to-read.txt", self.guide().as_bytes())?;
        set.commit()?;
        Ok(())
    }
}

fn text_of(path: &Path) -> Result<String, TestFilesError> {
    read_text(path).map_err(|why| TestFilesError::Read {
        path: path.to_owned(),
        why,
    })
}

fn content(error: impl ToString) -> TestFilesError {
    TestFilesError::Content(error.to_string())
}
