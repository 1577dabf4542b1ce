//! The table of readings: CSV (RFC 4180) with a head of comment lines, written empty for a
//! test part, filled in by a person or from a photograph, and read for a fit.

use std::fmt::Write as _;

use blend::calibrate::{MeasuredStep, Measurements, Provenance, Specular};
use blend::spectrum::Readings;
use blend::{Lab, MAX_COMPONENTS, Shares, Spool, SpoolColour, Srgb, Xyz};
use csv::{StringRecord, Terminator, WriterBuilder};

use crate::csv_input;

/// Version of the table that is written and read here.
pub const VERSION: u32 = 1;

/// A table of readings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// What stands above the columns.
    pub header: Header,
    /// One row for each step, or several where a step was measured several times.
    pub rows: Vec<Row>,
}

/// What stands above the columns, each as a comment line `# name: value`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Header {
    /// The file of the spools, relative to the table's folder.
    pub spools: Option<String>,
    /// The instrument, in the user's words.
    pub instrument: String,
    /// The day of measuring, in the user's words.
    pub measured_on: String,
    /// Whether the readings take in the gloss.
    pub specular: Specular,
    /// Anything else.
    pub note: String,
}

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The step's number on the sheet, from 1.
    pub step: usize,
    /// What the machine was told to feed.
    pub shares: Shares,
    /// What was read; `None` while it is still to be measured.
    pub reading: Option<Reading>,
}

/// A reading of one step.
#[derive(Clone, Debug, PartialEq)]
pub enum Reading {
    /// CIELAB, D65 and 2°.
    Lab(Lab),
    /// An sRGB code.
    Hex(Srgb),
    /// Reflectance by wavelength.
    Spectrum(Readings),
}

impl Reading {
    fn lab(&self) -> Lab {
        match self {
            Self::Lab(lab) => *lab,
            Self::Hex(code) => Xyz::from_srgb(*code).to_lab(),
            Self::Spectrum(readings) => readings.to_spectrum().to_xyz().to_lab(),
        }
    }

    fn spectrum(&self) -> Option<&Readings> {
        match self {
            Self::Spectrum(readings) => Some(readings),
            Self::Lab(_) | Self::Hex(_) => None,
        }
    }
}

/// What is wrong with a table.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct TableError {
    /// The line, from 1.
    pub line: u64,
    /// What is wrong and what to do.
    pub what: String,
}

impl TableError {
    fn new(line: u64, what: impl Into<String>) -> Self {
        let what = what.into();
        Self { line, what }
    }
}

/// Measurements drawn from a table, and what was made of its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// For the fit.
    pub measurements: Measurements,
    /// For each measured step, its number on the sheet.
    pub numbers: Vec<usize>,
    /// Steps without a reading.
    pub unread: Vec<usize>,
}

impl Table {
    /// Reads a table.
    ///
    /// # Errors
    /// [`TableError`] with the line, what is wrong and what to do.
    ///
    /// ```
    /// use calibrate::Table;
    /// let text = "# spools: spools.ron\n\
    ///     step,share_1,share_2,l,a,b,hex\n\
    ///     1,1,0,94.1,0.2,4.4,\n\
    ///     2,0.5,0.5,,,,#6f97ae\n";
    /// let table = Table::read(text)?;
    /// assert_eq!(table.rows.len(), 2);
    /// assert_eq!(table.header.spools.as_deref(), Some("spools.ron"));
    /// let wrong = Table::read(&text.replace("94.1", "941")).expect_err("no such lightness");
    /// assert!(wrong.to_string().starts_with("line 3: "));
    /// # Ok::<(), calibrate::TableError>(())
    /// ```
    pub fn read(text: &str) -> Result<Self, TableError> {
        let text = csv_input::unmarked(text);
        let header = Header::read(text)?;
        let mut reader = csv_input::reader(text);
        let heads = reader.headers().map_err(broken)?.clone();
        let columns = Columns::of(&heads, csv_input::line_of_heads(text))?;
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(broken)?;
            if record.iter().any(|cell| !cell.is_empty()) {
                if rows.len() >= csv_input::MOST_ROWS {
                    let line = record.position().map_or(1, csv::Position::line);
                    return Err(TableError::new(line, csv_input::too_long()));
                }
                rows.push(columns.row(&record, rows.len() + 1)?);
            }
        }
        match rows.is_empty() {
            true => Err(TableError::new(
                1,
                "there are no rows below the column names",
            )),
            false => Ok(Self { header, rows }),
        }
    }

    /// Writes the table; [`Table::read`] of it gives the same one.
    ///
    /// # Errors
    /// What the writer says.
    pub fn write(&self) -> std::io::Result<String> {
        let mut text = self.header.text();
        let count = self.rows.first().map_or(0, |row| row.shares.count());
        let mut table = WriterBuilder::new()
            .terminator(Terminator::Any(b'\n'))
            .from_writer(Vec::new());
        let mut heads = vec!["step".to_owned()];
        heads.extend((1..=count).map(|i| format!("share_{i}")));
        heads.extend(["l", "a", "b", "hex"].map(str::to_owned));
        let spectra = self
            .rows
            .iter()
            .filter_map(|row| row.reading.as_ref()?.spectrum());
        let wavelengths: Vec<f64> = match spectra.into_iter().next() {
            Some(first) => first.pairs().iter().map(|(nm, _)| *nm).collect(),
            None => Vec::new(),
        };
        heads.extend(wavelengths.iter().map(|nm| format!("nm_{nm}")));
        table.write_record(&heads)?;
        for row in &self.rows {
            let mut cells = vec![row.step.to_string()];
            cells.extend(row.shares.as_slice().iter().map(f64::to_string));
            let [l, a, b, hex] = match &row.reading {
                Some(Reading::Lab(lab)) => {
                    let [l, a, b] = [lab.l, lab.a, lab.b].map(|v| v.to_string());
                    [l, a, b, String::new()]
                }
                Some(Reading::Hex(code)) => ["", "", "", &code.to_string()].map(str::to_owned),
                Some(Reading::Spectrum(_)) | None => ["", "", "", ""].map(str::to_owned),
            };
            cells.extend([l, a, b, hex]);
            let spectrum = row.reading.as_ref().and_then(Reading::spectrum);
            match spectrum {
                Some(read) => cells.extend(read.pairs().iter().map(|(_, r)| r.to_string())),
                None => cells.extend(wavelengths.iter().map(|_| String::new())),
            }
            table.write_record(&cells)?;
        }
        let bytes = table.into_inner().map_err(|e| e.into_error())?;
        text.push_str(&String::from_utf8_lossy(&bytes));
        Ok(text)
    }

    /// The measurements for a fit, in the order of printing. Several readings of one step are
    /// averaged in CIELAB; steps without any are passed over.
    ///
    /// # Errors
    /// In words, when the rows don't go with the spools or with each other.
    pub fn measurements(&self, spools: &[Spool], provenance: Provenance) -> Result<Drawn, String> {
        let mut numbers: Vec<usize> = self.rows.iter().map(|row| row.step).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let mut steps = Vec::new();
        let mut unread = Vec::new();
        for &number in &numbers {
            let rows: Vec<&Row> = self.rows.iter().filter(|r| r.step == number).collect();
            let Some(first) = rows.first() else { continue };
            if rows.iter().any(|row| row.shares != first.shares) {
                return Err(format!(
                    "step {number} is here with different shares; a step has one blend, so number \
                     the rows as on the sheet"
                ));
            }
            let count = first.shares.count();
            if count != spools.len() {
                return Err(format!(
                    "the table has {count} shares for each step and there are {} spools; give \
                     one column share_1, share_2 … for each",
                    spools.len()
                ));
            }
            let readings = rows.iter().filter_map(|row| row.reading.clone());
            let readings: Vec<Reading> = readings.collect();
            match together(&readings) {
                Some(colour) => steps.push(MeasuredStep {
                    shares: first.shares,
                    colour,
                }),
                None => unread.push(number),
            }
        }
        numbers.retain(|n| !unread.contains(n));
        let header = &self.header;
        Ok(Drawn {
            measurements: Measurements {
                spools: spools.to_vec(),
                steps,
                specular: header.specular,
                provenance: Provenance {
                    measured_on: header.measured_on.clone(),
                    instrument: header.instrument.clone(),
                    note: header.note.clone(),
                    ..provenance
                },
            },
            numbers,
            unread,
        })
    }
}

/// One reading as it is, several as their mean.
fn together(readings: &[Reading]) -> Option<SpoolColour> {
    if let [Reading::Hex(code)] = readings {
        return Some(SpoolColour::Hex(*code));
    }
    let spectra: Vec<Readings> = readings
        .iter()
        .filter_map(|r| r.spectrum().cloned())
        .collect();
    if !spectra.is_empty() && spectra.len() == readings.len() {
        return Readings::mean(&spectra).map(SpoolColour::Spectrum);
    }
    let count = readings.len() as f64;
    let labs: Vec<Lab> = readings.iter().map(|r| r.lab()).collect();
    let mean = |part: fn(&Lab) -> f64| labs.iter().map(part).sum::<f64>() / count;
    (!labs.is_empty()).then(|| {
        SpoolColour::Lab(Lab {
            l: mean(|c| c.l),
            a: mean(|c| c.a),
            b: mean(|c| c.b),
        })
    })
}

fn broken(error: csv::Error) -> TableError {
    let (line, what) = csv_input::broken(&error);
    TableError::new(line, what)
}

impl Header {
    fn read(text: &str) -> Result<Self, TableError> {
        let mut header = Self::default();
        for (i, line) in text.lines().enumerate() {
            let Some((name, value)) = line
                .trim()
                .strip_prefix('#')
                .and_then(|comment| comment.split_once(':'))
            else {
                continue;
            };
            // Spreadsheets put their separators behind; what is no text is written as blanks.
            let value = value.replace(char::is_control, " ");
            let ends = |c: char| c.is_whitespace() || c == ',' || c == ';';
            let value = value.trim_start().trim_end_matches(ends).to_owned();
            let line = i as u64 + 1;
            match name.trim() {
                "format" if value != VERSION.to_string() => {
                    return Err(TableError::new(
                        line,
                        format!(
                            "this table has version {value}, and this program reads version \
                             {VERSION}"
                        ),
                    ));
                }
                "spools" if !value.is_empty() => header.spools = Some(value),
                "instrument" => header.instrument = value,
                "measured_on" => header.measured_on = value,
                "note" => header.note = value,
                "specular" => {
                    header.specular = match value.as_str() {
                        "included" => Specular::Included,
                        "excluded" => Specular::Excluded,
                        _ => {
                            return Err(TableError::new(
                                line,
                                format!(
                                    "'{value}' says nothing about gloss; write excluded (45°:0° \
                                     instruments, specular-excluded ones, photographs) or \
                                     included"
                                ),
                            ));
                        }
                    }
                }
                _ => {}
            }
        }
        Ok(header)
    }

    fn text(&self) -> String {
        let specular = match self.specular {
            Specular::Excluded => "excluded",
            Specular::Included => "included",
        };
        let mut text = format!(
            "# Readings of a test print. Fill in l, a, b (CIELAB, D65, 2°) or hex for each step.\n\
             # format: {VERSION}\n"
        );
        let spools = self.spools.as_deref().unwrap_or_default();
        for (name, value) in [
            ("spools", spools),
            ("instrument", &self.instrument),
            ("measured_on", &self.measured_on),
            ("specular", specular),
            ("note", &self.note),
        ] {
            let value = value.replace(char::is_control, " ");
            // A String takes whatever is written.
            let _ = writeln!(text, "# {name}: {value}");
        }
        text
    }
}

/// Where each column stands.
struct Columns {
    step: Option<usize>,
    shares: Vec<usize>,
    lab: Option<[usize; 3]>,
    hex: Option<usize>,
    /// Wavelength of each column of reflectance, nm, in rising order.
    spectrum: Vec<(f64, usize)>,
}

impl Columns {
    fn of(heads: &StringRecord, line: u64) -> Result<Self, TableError> {
        let at = |name: &str| heads.iter().position(|h| h.eq_ignore_ascii_case(name));
        // One beyond the most, so that it is told.
        let shares = (1..=MAX_COMPONENTS + 1).map_while(|i| at(&format!("share_{i}")));
        let shares: Vec<usize> = shares.collect();
        let lab = [at("l"), at("a"), at("b")];
        let columns = Self {
            step: at("step"),
            lab: match lab {
                [Some(l), Some(a), Some(b)] => Some([l, a, b]),
                _ => None,
            },
            hex: at("hex"),
            spectrum: wavelengths(heads),
            shares,
        };
        if columns.shares.len() < 2 {
            return Err(TableError::new(
                line,
                "the columns share_1, share_2 … are missing, one for each spool",
            ));
        }
        if columns.lab.is_none() && columns.hex.is_none() && columns.spectrum.is_empty() {
            return Err(TableError::new(
                line,
                "there is no column for a colour; add l, a and b, or hex, or nm_400, nm_410 … with \
                 reflectances",
            ));
        }
        Ok(columns)
    }

    fn row(&self, record: &StringRecord, place: usize) -> Result<Row, TableError> {
        let line = record.position().map_or(1, csv::Position::line);
        let wrong = |what: String| TableError::new(line, what);
        let cell = |i: usize| record.get(i).unwrap_or_default();
        let number = |i: usize, name: &str| {
            let text = cell(i);
            let value = text.parse::<f64>().ok().filter(|v| v.is_finite());
            value.ok_or_else(|| {
                wrong(format!(
                    "'{text}' in the column {name} is not a number; write it with a decimal point, \
                     such as 41.2"
                ))
            })
        };
        let step = match self.step {
            Some(i) => cell(i)
                .parse::<usize>()
                .ok()
                .filter(|n| *n > 0)
                .ok_or_else(|| {
                    let text = cell(i);
                    wrong(format!(
                        "'{text}' is not a step; write its number on the sheet, from 1"
                    ))
                })?,
            // Without numbers each row is the next step.
            None => place,
        };
        let shares: Vec<f64> = self
            .shares
            .iter()
            .enumerate()
            .map(|(n, i)| number(*i, &format!("share_{}", n + 1)))
            .collect::<Result<_, _>>()?;
        let shares = Shares::new(&shares).map_err(|e| wrong(e.to_string()))?;
        let filled = |at: &usize| !cell(*at).is_empty();
        let lab = self.lab.filter(|at| at.iter().any(filled));
        let hex = self.hex.filter(filled);
        let spectrum = self.spectrum.iter().any(|(_, at)| filled(at));
        let reading = match (lab, hex) {
            _ if spectrum => {
                let pairs = self.spectrum.iter();
                let pairs = pairs.map(|(nm, at)| Ok((*nm, number(*at, &format!("nm_{nm}"))?)));
                let readings = Readings::new(pairs.collect::<Result<_, TableError>>()?);
                Some(Reading::Spectrum(
                    readings.map_err(|e| wrong(e.to_string()))?,
                ))
            }
            (Some([l, a, b]), _) => {
                let lab = Lab {
                    l: number(l, "l")?,
                    a: number(a, "a")?,
                    b: number(b, "b")?,
                };
                if !SpoolColour::Lab(lab).is_believable() {
                    return Err(wrong(format!(
                        "L* {}, a* {}, b* {} is not a surface colour; L* runs from 0 to 100 and \
                         a*, b* from about -128 to 128",
                        lab.l, lab.a, lab.b
                    )));
                }
                Some(Reading::Lab(lab))
            }
            (None, Some(hex)) => Some(Reading::Hex(
                cell(hex).parse().map_err(|e| wrong(format!("{e}")))?,
            )),
            (None, None) => None,
        };
        Ok(Row {
            step,
            shares,
            reading,
        })
    }
}

/// The columns whose heads are wavelengths, such as `nm_400` or `400 nm`, and where they stand.
fn wavelengths(heads: &StringRecord) -> Vec<(f64, usize)> {
    let of = |head: &str| {
        let head = head.trim().to_ascii_lowercase();
        let number = match head.strip_prefix("nm_") {
            Some(rest) => rest,
            None => head.strip_suffix("nm")?.trim_end(),
        };
        let nm = number.parse::<f64>().ok()?;
        (200.0..=1200.0).contains(&nm).then_some(nm)
    };
    let all = heads.iter().enumerate();
    let mut found: Vec<(f64, usize)> = all.filter_map(|(i, head)| Some((of(head)?, i))).collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# format: 1\n# instrument: a borrowed one\n# specular: included\n\
        step,share_1,share_2,l,a,b,hex\n1,1,0,94,0,4,\n2,0.5,0.5,,,,#6f97ae\n\
        1,1,0,92,2,2,\n3,0,1,,,,\n";

    #[test]
    fn read_write_read() {
        let table = Table::read(TEXT).unwrap();
        assert_eq!(table.header.specular, Specular::Included);
        assert_eq!(Table::read(&table.write().unwrap()).unwrap(), table);
        let semicolons = TEXT.replace(',', ";");
        assert_eq!(Table::read(&semicolons).unwrap(), table);
    }

    #[test]
    fn spectra_are_read_in_any_order_and_written_back() {
        let heads: Vec<String> = (36..=78).rev().map(|i| format!("{i}0 nm")).collect();
        let row = |r: f64| vec![r.to_string(); heads.len()].join(",");
        let text = format!(
            "step,share_1,share_2,l,a,b,{}\n1,1,0,,,,{}\n2,0.5,0.5,40,0,0,{}\n1,1,0,,,,{}\n",
            heads.join(","),
            row(0.5),
            ",".repeat(heads.len() - 1),
            row(0.7)
        );
        let table = Table::read(&text).unwrap();
        assert_eq!(Table::read(&table.write().unwrap()).unwrap(), table);
        let spool = |name: &str| Spool::new(name, SpoolColour::Hex(Srgb([9; 3])));
        let drawn = table
            .measurements(&[spool("a"), spool("b")], Provenance::default())
            .unwrap();
        let SpoolColour::Spectrum(mean) = &drawn.measurements.steps[0].colour else {
            panic!("no spectrum");
        };
        assert!((mean.to_spectrum().0[9] - 0.6).abs() < 1e-9);
        // A percentage, and a gap.
        let error = Table::read(&text.replace("0.5,0.5,0.5,", "50,50,50,")).unwrap_err();
        assert!(
            error.line == 2 && error.what.contains("45 % as 0.45"),
            "{error}"
        );
        let error = Table::read(&text.replacen("0.5,0.5,", "0.5,,", 1)).unwrap_err();
        assert!(error.line == 2 && error.what.contains("nm_"), "{error}");
    }

    #[test]
    fn repeats_are_averaged_and_gaps_told() {
        let spool = |name: &str| Spool::new(name, SpoolColour::Hex(Srgb([9; 3])));
        let table = Table::read(TEXT).unwrap();
        let drawn = table
            .measurements(&[spool("a"), spool("b")], Provenance::default())
            .unwrap();
        assert_eq!(drawn.numbers, [1, 2]);
        assert_eq!(drawn.unread, [3]);
        let mean = Lab {
            l: 93.0,
            a: 1.0,
            b: 3.0,
        };
        assert_eq!(drawn.measurements.steps[0].colour, SpoolColour::Lab(mean));
        assert_eq!(drawn.measurements.provenance.instrument, "a borrowed one");
        let error = table.measurements(&[spool("a")], Provenance::default());
        assert!(error.unwrap_err().contains("1 spools"));
    }

    #[test]
    fn faults_name_the_line() {
        for (from, to, line, word) in [
            ("94,0,4", "94,0,", 5, "not a number"),
            ("1,1,0,94", "1,1,0.2,94", 5, "add up"),
            ("#6f97ae", "blue", 6, "six hexadecimal"),
            ("3,0,1,,,,", "3,0,1,,", 8, "5 cells"),
            ("included", "shiny", 3, "gloss"),
            ("format: 1", "format: 9", 1, "version 9"),
            ("share_1,share_2", "first,second", 4, "share_1"),
            ("l,a,b,hex", "w,x,y,z", 4, "no column for a colour"),
        ] {
            let error = Table::read(&TEXT.replacen(from, to, 1)).unwrap_err();
            assert_eq!(error.line, line, "{error}");
            assert!(error.what.contains(word), "{error}");
        }
    }

    #[test]
    fn ten_thousand_rows_and_no_more() {
        let text = |rows: usize| {
            let heads = "step,share_1,share_2,l,a,b,hex\n";
            format!("{heads}{}", "1,1,0,94,0,4,\n".repeat(rows))
        };
        let table = Table::read(&text(10_000)).unwrap();
        assert_eq!(table.rows.len(), 10_000);
        let error = Table::read(&text(10_001)).unwrap_err().to_string();
        assert!(error.starts_with("line 10002: "), "{error}");
        assert!(error.contains("more than 10000 rows"), "{error}");
    }

    #[test]
    fn columns_without_end_are_told_to_be_of_no_use() {
        let heads = format!("step{}\n1{}\n", ",x".repeat(100_000), ",1".repeat(100_000));
        let error = Table::read(&heads).unwrap_err().to_string();
        assert!(error.contains("share_1, share_2 … are missing"), "{error}");
    }
}
