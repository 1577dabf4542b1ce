//! Readings of a lag test.

use blend::MixModel;
use plan::lag_fit::{ColourReading, EndsReading, LagFault, LagFit, of_colours, of_ends};
use plan::machine::Chamber;
use plan::{AsPrinted, Machine, Plan, Schedule};

use super::table::{ERRORS, REGION, SeenError, Table};

/// Readings of one of two kinds.
#[derive(Clone, Debug, PartialEq)]
pub enum LagReadings {
    /// Colours at heights.
    Colours(Vec<ColourReading>),
    /// Where changes began and ended.
    Ends(Vec<EndsReading>),
}

impl LagReadings {
    /// Fits the melt chamber to the readings of a print of a plan.
    ///
    /// # Errors
    /// [`LagFault`] when they don't tell enough.
    pub fn fit(
        &self,
        plan: &Plan,
        model: &dyn MixModel,
        schedule: &Schedule,
        printed: &AsPrinted,
    ) -> Result<LagFit, LagFault> {
        match self {
            Self::Colours(list) => of_colours(plan, model, schedule, printed, list),
            Self::Ends(list) => of_ends(plan, model, schedule, printed, list),
        }
    }
}

/// A machine with a fitted chamber, its volumes in tenths of a mm³.
pub fn with_chamber(machine: &Machine, fit: &LagFit) -> Machine {
    let tenths = |value: f64| (value * 10.0).round() / 10.0;
    let chamber = Chamber {
        dead_mm3: tenths(fit.chamber.dead_mm3),
        mixed_mm3: tenths(fit.chamber.mixed_mm3),
        ..fit.chamber
    };
    Machine {
        chamber,
        ..machine.clone()
    }
}

/// Reads readings of a lag test. The columns tell the kind: `height_mm` with `l`, `a`, `b` or
/// `hex`, or `change` with `begins_mm` and `ends_mm`. Rows without a reading are passed over.
///
/// # Errors
/// [`SeenError`] with the line, what is wrong and what to do.
///
/// ```
/// use calibrate::observations::{LagReadings, read_lag};
/// let ends = read_lag("change,begins_mm,ends_mm\n1,20.9,25.5\n2,,\n")?;
/// assert!(matches!(ends, LagReadings::Ends(list) if list.len() == 1));
/// let colours = read_lag("height_mm,hex\n20.9,#f2efe6\n")?;
/// assert!(matches!(colours, LagReadings::Colours(list) if list.len() == 1));
/// # Ok::<(), calibrate::observations::SeenError>(())
/// ```
pub fn read_lag(text: &str) -> Result<LagReadings, SeenError> {
    let table = Table::read(text)?;
    let names = |list: &[&str]| list.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>();
    if table.has("change") {
        table.only(&names(&["change", "begins_mm", "ends_mm", "note"]))?;
        return ends(&table).map(LagReadings::Ends);
    }
    if table.has("height_mm") {
        // A lag test has one region in each layer.
        let mut known = names(&["height_mm", REGION, "l", "a", "b", "hex", "note"]);
        known.extend(names(&ERRORS));
        table.only(&known)?;
        return colours(&table).map(LagReadings::Colours);
    }
    Err(SeenError::new(
        table.head_line,
        "this is not a table of a lag test; it needs the columns height_mm and l, a, b or hex, or \
         the columns change, begins_mm and ends_mm",
    ))
}

fn colours(table: &Table) -> Result<Vec<ColourReading>, SeenError> {
    let mut found = Vec::new();
    for row in &table.rows {
        if let Some(colour) = table.colour(row)? {
            found.push(ColourReading {
                height_mm: table.needed(row, "height_mm")?,
                lab: colour.xyz().to_lab(),
            });
        }
    }
    filled(table, found)
}

fn ends(table: &Table) -> Result<Vec<EndsReading>, SeenError> {
    let mut found = Vec::new();
    for row in &table.rows {
        let begins = table.amount(row, "begins_mm")?;
        let ends = table.amount(row, "ends_mm")?;
        if begins.is_none() && ends.is_none() {
            continue;
        }
        let change = table.needed(row, "change")?;
        if change < 1.0 || change.fract() != 0.0 {
            let what = format!("{change} is not a change; they count from 1 at the bottom");
            return Err(SeenError::new(row.line, what));
        }
        found.push(EndsReading {
            change: change as usize,
            begins_mm: table.needed(row, "begins_mm")?,
            ends_mm: table.needed(row, "ends_mm")?,
        });
    }
    filled(table, found)
}

fn filled<T>(table: &Table, found: Vec<T>) -> Result<Vec<T>, SeenError> {
    match found.is_empty() {
        true => Err(SeenError::new(
            table.head_line,
            "the table is empty; write your readings, as many rows as you have",
        )),
        false => Ok(found),
    }
}
