//! Named columns and their cells.

use blend::{Lab, Spool, SpoolColour, Srgb};
use csv::StringRecord;

use crate::csv_input;

/// How far the colours of a table may be off, one standard error: each by itself, and together
/// with others by the camera and by the light on the faces, ΔE00; and their heights together, mm.
pub(super) const ERRORS: [&str; 4] = [
    "error_de00",
    "shared_error_de00",
    "lightness_error_de00",
    "height_error_mm",
];
/// Which region a colour is of: its position in the plan, from 1.
pub(super) const REGION: &str = "region";

/// What is wrong with a table.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct SeenError {
    /// The line, from 1.
    pub line: u64,
    /// What is wrong and what to do.
    pub what: String,
}

impl SeenError {
    pub(super) fn new(line: u64, what: impl Into<String>) -> Self {
        let what = what.into();
        Self { line, what }
    }
}

/// A table as it was read.
pub(super) struct Table {
    heads: StringRecord,
    /// The line of the column names, from 1.
    pub head_line: u64,
    /// The rows in which anything stands.
    pub rows: Vec<Row>,
}

/// One row.
pub(super) struct Row {
    /// Its line, from 1.
    pub line: u64,
    cells: StringRecord,
}

impl Table {
    pub(super) fn read(text: &str) -> Result<Self, SeenError> {
        let text = csv_input::unmarked(text);
        let mut reader = csv_input::reader(text);
        let heads = reader.headers().map_err(broken)?.clone();
        let mut rows = Vec::new();
        for record in reader.records() {
            let cells = record.map_err(broken)?;
            if cells.iter().any(|cell| !cell.is_empty()) {
                let line = cells.position().map_or(1, csv::Position::line);
                if rows.len() >= csv_input::MOST_ROWS {
                    return Err(SeenError::new(line, csv_input::too_long()));
                }
                rows.push(Row { line, cells });
            }
        }
        Ok(Self {
            heads,
            head_line: csv_input::line_of_heads(text),
            rows,
        })
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.column(name).is_some()
    }

    fn column(&self, name: &str) -> Option<usize> {
        self.heads.iter().position(|h| h.eq_ignore_ascii_case(name))
    }

    /// Complains about a column that nobody reads: it is most likely misspelt.
    pub(super) fn only(&self, known: &[String]) -> Result<(), SeenError> {
        let is_known =
            |head: &str| head.is_empty() || known.iter().any(|k| k.eq_ignore_ascii_case(head));
        match self.heads.iter().find(|head| !is_known(head)) {
            None => Ok(()),
            Some(head) => Err(SeenError::new(
                self.head_line,
                format!(
                    "the column '{head}' is unknown; this table takes {}",
                    known.join(", ")
                ),
            )),
        }
    }

    /// The cell of a row, if anything stands in it.
    fn cell<'a>(&self, row: &'a Row, name: &str) -> Option<&'a str> {
        let cell = row.cells.get(self.column(name)?)?;
        (!cell.is_empty()).then_some(cell)
    }

    /// A number of 0 or more.
    pub(super) fn amount(&self, row: &Row, name: &str) -> Result<Option<f64>, SeenError> {
        match self.number(row, name)? {
            Some(value) if value < 0.0 => Err(SeenError::new(
                row.line,
                format!("{value} in the column {name} is below 0"),
            )),
            value => Ok(value),
        }
    }

    /// A number that must be there.
    pub(super) fn needed(&self, row: &Row, name: &str) -> Result<f64, SeenError> {
        self.amount(row, name)?.ok_or_else(|| {
            let what = format!("the column {name} is empty; every row needs one");
            SeenError::new(row.line, what)
        })
    }

    /// The root mean square of a column's numbers, none if it has none.
    pub(super) fn root_mean_square(&self, name: &str) -> Result<Option<f64>, SeenError> {
        let (mut squares, mut count) = (0.0, 0_usize);
        for row in &self.rows {
            if let Some(value) = self.amount(row, name)? {
                squares += value * value;
                count += 1;
            }
        }
        Ok((count > 0).then(|| (squares / count as f64).sqrt()))
    }

    fn number(&self, row: &Row, name: &str) -> Result<Option<f64>, SeenError> {
        let Some(text) = self.cell(row, name) else {
            return Ok(None);
        };
        match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            _ => Err(SeenError::new(
                row.line,
                format!(
                    "'{text}' in the column {name} is not a number; write it with a decimal point, \
                     such as 41.2"
                ),
            )),
        }
    }

    /// The colour of a row, from `l`, `a`, `b` or from `hex`.
    pub(super) fn colour(&self, row: &Row) -> Result<Option<SpoolColour>, SeenError> {
        let wrong = |what: String| SeenError::new(row.line, what);
        let [l, a, b] = [
            self.number(row, "l")?,
            self.number(row, "a")?,
            self.number(row, "b")?,
        ];
        let colour = match (l, a, b, self.cell(row, "hex")) {
            (None, None, None, None) => return Ok(None),
            (Some(l), Some(a), Some(b), None) => SpoolColour::Lab(Lab { l, a, b }),
            (None, None, None, Some(code)) => {
                let code: Srgb = code.parse().map_err(|e| wrong(format!("'{code}': {e}")))?;
                SpoolColour::Hex(code)
            }
            _ => {
                let what = "a colour is either l, a and b, or hex; not both";
                return Err(wrong(what.to_owned()));
            }
        };
        // A spool of it says best whether it can be.
        Spool::new("reading", colour.clone())
            .colour
            .is_believable()
            .then_some(Some(colour))
            .ok_or_else(|| wrong("no plastic has this colour; l runs from 0 to 100".to_owned()))
    }
}

fn broken(error: csv::Error) -> SeenError {
    let (line, what) = csv_input::broken(&error);
    SeenError::new(line, what)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_thousand_rows_and_no_more() {
        let text = |rows: usize| format!("at_mm,hex\n{}", "1,#808080\n".repeat(rows));
        assert_eq!(Table::read(&text(10_000)).unwrap().rows.len(), 10_000);
        let error = Table::read(&text(10_001)).err().unwrap().to_string();
        assert!(error.contains("line 10002"), "{error}");
        assert!(error.contains("more than 10000 rows"), "{error}");
    }

    #[test]
    fn columns_without_end_are_told_to_be_of_no_use() {
        let heads = format!("at_mm{}\n", ",x".repeat(100_000));
        let error = Table::read(&heads).unwrap().only(&["at_mm".to_owned()]);
        let error = error.unwrap_err().to_string();
        assert!(error.contains("the column 'x' is unknown"), "{error}");
    }
}
