//! The colours that a model has, as a person reads them.

use ::colours::{Counted, Found, Model, Sampled};
use blend::Xyz;
use geometry::Progress;
use render::Image;
use serde::Serialize;

use crate::fault::Fault;

/// How finely a model is looked at, mm.
const PIECE_MM: f64 = 0.25;

/// Rows that are listed; what is left is in one more.
const MOST_ROWS: usize = 12;

/// A strip of swatches, pixels.
const STRIP_PX: (u32, u32) = (960, 96);

/// The colours of a model by area.
#[derive(Serialize)]
pub(crate) struct Colours {
    /// How many different 8-bit colours there are.
    distinct: usize,
    /// The coloured area, mm².
    coloured_mm2: f64,
    /// The area without a colour, mm².
    uncoloured_mm2: f64,
    /// Colours that look alike together, those of most area first.
    found: Vec<Row>,
}

#[derive(Serialize)]
struct Row {
    srgb: String,
    name: String,
    area_mm2: f64,
    /// Of all area, coloured or not.
    share: f64,
    distinct: usize,
}

impl Colours {
    /// Counts the colours of a model.
    pub(crate) fn of(model: &Model, progress: &Progress) -> Result<Self, Fault> {
        let counted = Counted::new(&Sampled::new(model, PIECE_MM, progress)?);
        let all_mm2 = counted.coloured_mm2() + counted.uncoloured_mm2;
        let row = |found: &Found| Row {
            srgb: found.colour.to_string(),
            name: Xyz::from_srgb(found.colour).to_lab().name(),
            area_mm2: found.area_mm2,
            share: found.area_mm2 / all_mm2,
            distinct: found.distinct,
        };
        Ok(Self {
            distinct: counted.distinct,
            coloured_mm2: counted.coloured_mm2(),
            uncoloured_mm2: counted.uncoloured_mm2,
            found: counted.found.iter().map(row).collect(),
        })
    }

    /// A line on how many there are, and one for each of the largest.
    pub(crate) fn in_words(&self) -> String {
        let mut text = match self.distinct {
            1 => "1".to_owned(),
            count => format!("{count} different, by area (those that look alike together):"),
        };
        let mut line = |share: f64, area_mm2: f64, what: String| {
            let percent = 100.0 * share;
            text.push_str(&format!(
                "\n{:11}{percent:5.1} %  {area_mm2:9.1} mm²  {what}",
                ""
            ));
        };
        let listed = match self.found.len() > MOST_ROWS {
            true => MOST_ROWS - 1,
            false => MOST_ROWS,
        };
        for row in self.found.iter().take(listed) {
            line(
                row.share,
                row.area_mm2,
                format!("{}  {}", row.srgb, row.name),
            );
        }
        let rest: Vec<&Row> = self.found.iter().skip(listed).collect();
        if !rest.is_empty() {
            let sum = |part: fn(&Row) -> f64| rest.iter().map(|row| part(row)).sum();
            let what = format!("{} others", rest.len());
            line(sum(|row| row.share), sum(|row| row.area_mm2), what);
        }
        if self.uncoloured_mm2 > 0.0 {
            let share = self.uncoloured_mm2 / (self.coloured_mm2 + self.uncoloured_mm2);
            line(share, self.uncoloured_mm2, "without a colour".to_owned());
        }
        text
    }

    /// A strip of swatches, the largest first, each as wide as its share of the coloured area.
    pub(crate) fn strip(&self) -> Image {
        let (wide, high) = STRIP_PX;
        let mut row = Vec::with_capacity(wide as usize * 4);
        let mut before_mm2 = 0.0;
        for found in &self.found {
            before_mm2 += found.area_mm2;
            let end = (before_mm2 / self.coloured_mm2 * f64::from(wide)).round() as usize * 4;
            let code: Result<blend::Srgb, _> = found.srgb.parse();
            let [r, g, b] = code.map_or([255; 3], |code| code.0);
            while row.len() < end {
                row.extend([r, g, b, 255]);
            }
        }
        row.resize(wide as usize * 4, 255);
        let rgba = row.repeat(high as usize);
        Image::from_rgba(wide, high, rgba).unwrap_or_else(|| Image::clear(wide, high))
    }
}
