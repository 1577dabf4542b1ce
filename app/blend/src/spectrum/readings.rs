//! A spectrum as an instrument gives it, at wavelengths of its own.

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::{BANDS, FIRST_NM, STEP_NM, Spectrum, wavelengths_nm};

/// The last band, nm.
const LAST_NM: f64 = FIRST_NM + STEP_NM * (BANDS - 1) as f64;

/// Readings must reach at least from here, nm,
const MUST_START_NM: f64 = 400.0;
/// to here, nm: what common instruments give. Outside, the end reading is held.
const MUST_END_NM: f64 = 700.0;
/// and stand no further apart than this, nm.
const WIDEST_GAP_NM: f64 = 20.0;
/// A reading every twentieth of a nanometre from 300 to 800 nm.
pub(crate) const MOST_READINGS: usize = 10_000;

/// A reflectance above this is a percentage by mistake; fluorescent plastic stays below it.
const MOST: f64 = 1.5;

/// Measured reflectance: pairs of wavelength in nm and reflectance factor, in rising order.
///
/// Invariant: at least 400 to 700 nm, gaps of 20 nm at most, each reflectance in `0..=1.5`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<(f64, f64)>", into = "Vec<(f64, f64)>")]
pub struct Readings(Vec<(f64, f64)>);

/// Why readings are no spectrum.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SpectrumError {
    /// A line of text is not two numbers.
    #[error("line {line}: '{text}' is not a wavelength in nm and a reflectance, such as 450, 0.32")]
    Line {
        /// Which line, from 1.
        line: usize,
        /// What it says.
        text: String,
    },
    /// A reflectance is out of range.
    #[error(
        "the reflectance at {nm} nm is {value}; it must be from 0 to {MOST}, \
         so write 45 % as 0.45"
    )]
    Value {
        /// Wavelength, nm.
        nm: f64,
        /// The reading.
        value: f64,
    },
    /// There are more than any instrument gives.
    #[error("there are {0} readings; the most is {MOST_READINGS}")]
    TooMany(usize),
    /// Wavelengths are not in rising order.
    #[error("the wavelength {nm} nm comes after {before_nm} nm; wavelengths must rise")]
    NotRising {
        /// Wavelength, nm.
        nm: f64,
        /// The one before it, nm.
        before_nm: f64,
    },
    /// Two readings are too far apart.
    #[error(
        "there is no reading between {from_nm} and {to_nm} nm; gaps may be {WIDEST_GAP_NM} nm at \
         most"
    )]
    Gap {
        /// Before the gap, nm.
        from_nm: f64,
        /// After it, nm.
        to_nm: f64,
    },
    /// The readings don't reach far enough.
    #[error(
        "the readings run from {from_nm} to {to_nm} nm; \
         they must cover {MUST_START_NM} to {MUST_END_NM} nm"
    )]
    Short {
        /// First wavelength, nm.
        from_nm: f64,
        /// Last wavelength, nm.
        to_nm: f64,
    },
}

impl Readings {
    /// Takes pairs of wavelength, nm, and reflectance factor.
    ///
    /// # Errors
    /// [`SpectrumError`] says which of the invariant's conditions fails, and where.
    pub fn new(pairs: Vec<(f64, f64)>) -> Result<Self, SpectrumError> {
        if pairs.len() > MOST_READINGS {
            return Err(SpectrumError::TooMany(pairs.len()));
        }
        for &(nm, value) in &pairs {
            if !nm.is_finite() || !(0.0..=MOST).contains(&value) {
                return Err(SpectrumError::Value { nm, value });
            }
        }
        for (&(before_nm, _), &(nm, _)) in pairs.iter().zip(pairs.iter().skip(1)) {
            if nm <= before_nm {
                return Err(SpectrumError::NotRising { nm, before_nm });
            }
            let within = nm > MUST_START_NM && before_nm < MUST_END_NM;
            if within && nm - before_nm > WIDEST_GAP_NM {
                return Err(SpectrumError::Gap {
                    from_nm: before_nm,
                    to_nm: nm,
                });
            }
        }
        let ends = (pairs.first().map(|p| p.0), pairs.last().map(|p| p.0));
        match ends {
            (Some(from), Some(to)) if from <= MUST_START_NM && to >= MUST_END_NM => Ok(Self(pairs)),
            (from, to) => Err(SpectrumError::Short {
                from_nm: from.unwrap_or(0.0),
                to_nm: to.unwrap_or(0.0),
            }),
        }
    }

    /// The readings of a spectrum, one for each of its bands; `None` if they can't be.
    pub fn on_grid(spectrum: &Spectrum) -> Option<Self> {
        Self::new(wavelengths_nm().zip(spectrum.0).collect()).ok()
    }

    /// The mean of several, each put on the common grid; a single one as it is. `None` of none.
    pub fn mean(all: &[Self]) -> Option<Self> {
        match all {
            [] => None,
            [one] => Some(one.clone()),
            all => {
                let mut sum = Spectrum::flat(0.0);
                for one in all.iter().map(Self::to_spectrum) {
                    for (sum, band) in sum.0.iter_mut().zip(one.0) {
                        *sum += band / all.len() as f64;
                    }
                }
                Self::on_grid(&sum)
            }
        }
    }

    /// Reads the text of a CSV file: a wavelength in nm and a reflectance factor a line,
    /// parted by a comma, a semicolon, a tab or spaces. Blank lines and lines that start with
    /// `#` are passed over, and so is a first line of headings.
    ///
    /// ```
    /// use blend::spectrum::Readings;
    /// let grey: String = (40..=70).map(|i| format!("{}, 0.2\n", i * 10)).collect();
    /// let readings = Readings::from_csv(&format!("nm, reflectance\n{grey}")).expect("readings");
    /// assert!((readings.to_spectrum().to_xyz().y - 0.2).abs() < 1e-9);
    /// ```
    ///
    /// # Errors
    /// [`SpectrumError`], with the line where a line is at fault.
    pub fn from_csv(text: &str) -> Result<Self, SpectrumError> {
        let mut pairs = Vec::new();
        let mut headed = false;
        for (i, line) in text.lines().enumerate() {
            let line = line.trim().trim_start_matches('\u{feff}');
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            match pair_of(line) {
                Some(pair) => pairs.push(pair),
                None if pairs.is_empty() && !headed => headed = true,
                None => {
                    return Err(SpectrumError::Line {
                        line: i + 1,
                        text: line.chars().take(60).collect(),
                    });
                }
            }
        }
        Self::new(pairs)
    }

    /// The readings, in rising order of wavelength.
    pub fn pairs(&self) -> &[(f64, f64)] {
        &self.0
    }

    /// The readings put on the common grid.
    ///
    /// The bands are those whose curve, Lagrange's cubic through the four nearest bands, as
    /// the observer's weights take it, passes the readings most closely in the sense of least
    /// squares. So readings on the grid stay as they are, and readings finer than the grid all
    /// count. Beyond the ends the end readings are held.
    pub fn to_spectrum(&self) -> Spectrum {
        let near = self.interpolated();
        // So little pull towards the plain interpolation that it tells only where readings
        // are too few to settle a band.
        const PULL: f64 = 1e-9;
        let mut normal = SMatrix::<f64, BANDS, BANDS>::identity() * PULL;
        let mut right = SVector::<f64, BANDS>::from_column_slice(&near.0) * PULL;
        for (nm, value) in self.with_ends_held() {
            let row = band_weights(nm);
            for (i, wi) in row.clone() {
                right[i] += wi * value;
                for (j, wj) in row.clone() {
                    normal[(i, j)] += wi * wj;
                }
            }
        }
        match normal.cholesky() {
            Some(factors) => Spectrum(factors.solve(&right).into()).map(|r| r.clamp(0.0, MOST)),
            None => near,
        }
    }

    /// The readings on the grid's range, and the end readings at the bands beyond them.
    fn with_ends_held(&self) -> impl Iterator<Item = (f64, f64)> {
        let (first, last) = (self.0[0], self.0[self.0.len() - 1]);
        let on_range = |p: &&(f64, f64)| (FIRST_NM..=LAST_NM).contains(&p.0);
        let below = wavelengths_nm().filter(move |nm| *nm < first.0);
        let above = wavelengths_nm().filter(move |nm| *nm > last.0);
        let held = below
            .map(move |nm| (nm, first.1))
            .chain(above.map(move |nm| (nm, last.1)));
        self.0.iter().filter(on_range).copied().chain(held)
    }

    fn interpolated(&self) -> Spectrum {
        let mut bands = Spectrum::flat(0.0);
        for (band, nm) in bands.0.iter_mut().zip(wavelengths_nm()) {
            let after = self.0.partition_point(|p| p.0 < nm);
            *band = match (after.checked_sub(1).map(|i| self.0[i]), self.0.get(after)) {
                (Some((x0, y0)), Some((x1, y1))) => y0 + (y1 - y0) * (nm - x0) / (x1 - x0),
                (Some((_, y)), None) => y,
                (None, Some((_, y))) => *y,
                (None, None) => 0.0,
            };
        }
        bands
    }
}

/// Which bands make up the curve at a wavelength on the grid's range, and their weights:
/// Lagrange's cubic inside, his quadratic in the first and last interval.
fn band_weights(nm: f64) -> impl Iterator<Item = (usize, f64)> + Clone {
    let place = (nm - FIRST_NM) / STEP_NM;
    let from = (place.ceil() as usize).saturating_sub(2);
    let to = (place.ceil() as usize + 2).min(BANDS);
    (from..to).map(move |i| {
        let weight = (from..to)
            .filter(|j| *j != i)
            .map(|j| (place - j as f64) / (i as f64 - j as f64))
            .product();
        (i, weight)
    })
}

fn pair_of(line: &str) -> Option<(f64, f64)> {
    let mut numbers = line
        .split([',', ';', '\t', ' '])
        .filter(|part| !part.is_empty())
        .map(str::parse::<f64>);
    match (numbers.next(), numbers.next(), numbers.next()) {
        (Some(Ok(nm)), Some(Ok(value)), None) => Some((nm, value)),
        _ => None,
    }
}

impl TryFrom<Vec<(f64, f64)>> for Readings {
    type Error = SpectrumError;

    fn try_from(pairs: Vec<(f64, f64)>) -> Result<Self, SpectrumError> {
        Self::new(pairs)
    }
}

impl From<Readings> for Vec<(f64, f64)> {
    fn from(readings: Readings) -> Self {
        readings.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every(step: usize, f: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
        (380..=730)
            .step_by(step)
            .map(|nm| (nm as f64, f(nm as f64)))
            .collect()
    }

    #[test]
    fn readings_on_the_grid_stay_as_they_are() {
        let pairs = every(10, |nm| (nm / 100.0).sin().abs());
        let spectrum = Readings::new(pairs.clone())
            .expect("readings")
            .to_spectrum();
        for (band, (_, value)) in spectrum.0.iter().zip(&pairs) {
            assert!((band - value).abs() < 1e-12);
        }
    }

    #[test]
    fn a_curve_between_readings_is_followed() {
        let square = |nm: f64| 0.4 + 1e-5 * (nm - 550.0).powi(2);
        let pairs = every(7, square);
        let spectrum = Readings::new(pairs).expect("readings").to_spectrum();
        for (band, nm) in spectrum.0.iter().zip(wavelengths_nm()) {
            let expected = square(nm);
            assert!((band - expected).abs() < 1e-5, "{nm}: {band} {expected}");
        }
    }

    #[test]
    fn wrong_readings_say_where_and_what_to_do() {
        let said = |pairs: Vec<(f64, f64)>| Readings::new(pairs).expect_err("wrong").to_string();
        assert!(said(every(10, |_| 45.0)).contains("45 % as 0.45"));
        assert!(said(every(30, |_| 0.5)).contains("gaps may be 20 nm"));
        assert!(said(vec![]).contains("must cover"));
        assert!(said(vec![(400.0, 0.1), (390.0, 0.1)]).contains("must rise"));
        assert!(said(vec![(400.0, f64::NAN)]).contains("NaN"));
        let text = "nm,R\n400,0.1\n410;0.2\nsea,0.3\n";
        let error = Readings::from_csv(text).expect_err("wrong");
        assert!(
            error.to_string().starts_with("line 4: 'sea,0.3'"),
            "{error}"
        );
    }

    #[test]
    fn files_keep_them() {
        let readings = Readings::new(every(5, |nm| nm / 1000.0)).expect("readings");
        let text = ron::to_string(&readings).expect("text");
        assert_eq!(
            ron::from_str::<Readings>(&text).expect("readings"),
            readings
        );
    }

    #[test]
    fn ten_thousand_readings_and_no_more() {
        let many = |count: usize| {
            let at = |i: usize| (300.0 + i as f64 * 0.05, 0.5);
            Readings::new((0..count).map(at).collect())
        };
        assert!(many(MOST_READINGS).is_ok());
        let error = many(MOST_READINGS + 1).expect_err("too many").to_string();
        assert_eq!(error, "there are 10001 readings; the most is 10000");
    }
}
