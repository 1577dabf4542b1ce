//! What was seen of a part: colours, turns and filament by height.

use std::fmt::Write as _;

use plan::trace::{Seen, Sighting, Together};
use plan::watch::Watch;

use super::table::{ERRORS, REGION, Row, SeenError, Table};

/// Reads what was seen of a part so high, printed with so many spools. The columns `error_de00`,
/// `shared_error_de00`, `lightness_error_de00` and `height_error_mm` say how far the colours may be
/// off, and `region` which region of the plan they are of, as
/// [`crate::finished::tables::by_height`] writes them.
///
/// # Errors
/// [`SeenError`] with the line, what is wrong and what to do.
///
/// ```
/// let text = "height_mm,turns_1,hex\n10,3.5,\n20,,#8090a0\n";
/// let sighting = calibrate::observations::read_print(text, 2, 40.0)?;
/// assert_eq!(sighting.seen.len(), 2);
/// let wrong = calibrate::observations::read_print(&text.replace("20", "200"), 2, 40.0);
/// assert!(wrong.expect_err("too high").to_string().starts_with("line 3: "));
/// # Ok::<(), calibrate::observations::SeenError>(())
/// ```
pub fn read_print(text: &str, spools: usize, top_mm: f64) -> Result<Sighting, SeenError> {
    let table = Table::read(text)?;
    let mut known: Vec<String> = columns(spools);
    known.extend(
        ["note", REGION]
            .iter()
            .chain(&ERRORS)
            .map(|name| (*name).to_owned()),
    );
    table.only(&known)?;
    if !table.has("height_mm") {
        return Err(SeenError::new(
            table.head_line,
            "the column height_mm is missing; add the height of each row",
        ));
    }
    let mut seen = Vec::new();
    for row in &table.rows {
        let mut here = Vec::new();
        let height_mm = table.amount(row, "height_mm")?;
        let at = height_mm.unwrap_or(0.0);
        if let Some(colour) = table.colour(row)? {
            here.push(Seen::Colour {
                height_mm: at,
                region: region(&table, row)?,
                colour,
                together: together(&table, row)?,
            });
        }
        for drive in 1..=spools {
            if let Some(turns) = table.amount(row, &format!("turns_{drive}"))? {
                here.push(Seen::Turns {
                    height_mm: at,
                    drive,
                    turns,
                });
            }
            if let Some(filament_mm) = table.amount(row, &format!("filament_{drive}_mm"))? {
                here.push(Seen::Filament {
                    height_mm: at,
                    drive,
                    filament_mm,
                });
            }
        }
        if here.is_empty() {
            continue;
        }
        let height = table.needed(row, "height_mm")?;
        if height > top_mm + 1e-6 {
            let what = format!("{height} mm is above the part, which is {top_mm:.2} mm high");
            return Err(SeenError::new(row.line, what));
        }
        seen.extend(here);
    }
    if seen.is_empty() {
        return Err(SeenError::new(
            table.head_line,
            "the table is empty; write the colours, turns or filament that you saw, as many as you \
             have",
        ));
    }
    let [own, _, _, height] = ERRORS.map(|name| table.root_mean_square(name));
    let usual = Sighting::new(seen);
    Ok(Sighting {
        colour_error_de00: own?
            .filter(|error| *error > 0.0)
            .unwrap_or(usual.colour_error_de00),
        height_error_mm: height?.unwrap_or(0.0),
        ..usual
    })
}

/// Which region of the plan a row is of, from 0; none where it does not say.
fn region(table: &Table, row: &Row) -> Result<Option<usize>, SeenError> {
    match table.amount(row, REGION)? {
        None => Ok(None),
        Some(number) if number >= 1.0 && number.fract() == 0.0 && number < 1e6 => {
            Ok(Some(number as usize - 1))
        }
        Some(number) => {
            let what = format!(
                "the region {number} is none; give its position in the plan, 1 for the first, or \
                 leave it empty for the layer's largest"
            );
            Err(SeenError::new(row.line, what))
        }
    }
}

/// What a row's colour may be off together with others.
fn together(table: &Table, row: &Row) -> Result<Together, SeenError> {
    let [_, camera, lightness, _] = ERRORS;
    let error = |name: &str| Ok(table.amount(row, name)?.unwrap_or(0.0));
    Ok(Together {
        camera_de00: error(camera)?,
        lightness_de00: error(lightness)?,
    })
}

/// Whether anybody wrote something into a table.
pub fn has_readings(text: &str, spools: usize) -> bool {
    read_print(text, spools, f64::INFINITY).is_ok()
}

/// An empty table with the heights of a watch table.
pub fn template(watch: &Watch) -> String {
    let spools = watch.spools.len();
    let mut text = String::from(
        "# What you saw of the print. Fill in what you have and leave the rest empty. Count turns \
         of\n\
         # each drive's gear, and filament, from the start of the print. Give the colour at a \
         height as\n\
         # l, a, b (CIELAB, D65, 2°) or hex, where the layer shows its largest region.\n",
    );
    text.push_str(&columns(spools).join(","));
    text.push('\n');
    let empty = ",".repeat(columns(spools).len() - 1);
    for row in &watch.rows {
        // A String takes whatever is written.
        let _ = writeln!(text, "{:.2}{empty}", row.height_mm);
    }
    text
}

fn columns(spools: usize) -> Vec<String> {
    let mut columns = vec!["height_mm".to_owned()];
    columns.extend((1..=spools).map(|i| format!("turns_{i}")));
    columns.extend((1..=spools).map(|i| format!("filament_{i}_mm")));
    columns.extend(["l", "a", "b", "hex"].map(str::to_owned));
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "height_mm,region,l,a,b,error_de00,shared_error_de00,\
                        lightness_error_de00,height_error_mm\n";

    #[test]
    fn each_colour_says_its_region_and_what_it_is_off_together() {
        let text = format!("{HEAD}4,2,90,1,2,0.7,1.2,0.4,0.5\n4,,20,3,-20,0.7,1.8,3.5,0.5\n");
        let sighting = read_print(&text, 2, 4.0).expect("a table");
        let found: Vec<_> = sighting
            .seen
            .iter()
            .map(|seen| match seen {
                Seen::Colour {
                    region, together, ..
                } => (*region, together.camera_de00, together.lightness_de00),
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(found, [(Some(1), 1.2, 0.4), (None, 1.8, 3.5)]);
        assert!(sighting.is_photographed());
        assert_eq!(
            (sighting.colour_error_de00, sighting.height_error_mm),
            (0.7, 0.5)
        );
        let keyed_in = read_print("height_mm,hex\n2,#203040\n", 2, 4.0).expect("a table");
        assert!(!keyed_in.is_photographed());
    }

    #[test]
    fn a_region_is_a_position_in_the_plan() {
        for wrong in ["0", "1.5", "1e9"] {
            let text = format!("{HEAD}4,{wrong},90,1,2,,,,\n");
            let error = read_print(&text, 2, 4.0)
                .expect_err("no region")
                .to_string();
            assert!(error.starts_with("line 2: the region"), "{error}");
        }
    }
}
