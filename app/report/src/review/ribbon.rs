//! Colours by height: as asked for, as they will come out, and how far those are apart.

use std::fmt::Write as _;

use plan::schedule::{Dose, Layer};
use plan::{AsPrinted, Schedule};

use super::html::data_uri;
use crate::markup::escaped;
use crate::sheet::{ColourShare, Facts};
use render::Image;

/// The drawing's scale of heights.
const TOP: f64 = 40.0;
const LENGTH: f64 = 520.0;
/// Left edge of the first column, the way to the next, and a column's width.
const LEFT: f64 = 44.0;
const STEP: f64 = 98.0;
const COLUMN: f64 = 90.0;
/// From the last column's place to the scale of differences, its width, and what is to the right.
const APART: f64 = 8.0;
const SCALE: f64 = 82.0;
const MARGIN: f64 = 10.0;
/// Pixels of a column's picture.
const PIXELS: (u32, usize) = (90, 1040);

/// A drawing of colours by height: columns beside each other, and how far they are apart.
pub(super) struct Drawing {
    svg: String,
    columns: usize,
    bottom_mm: f64,
    top_mm: f64,
}

/// How far colours are apart, by height: points of a curve and, where that is known, up to where it
/// says nothing.
#[derive(Clone, Copy)]
pub(super) struct Off {
    pub height_mm: f64,
    pub de00: f64,
    pub unsure_de00: Option<f64>,
}

impl Drawing {
    /// One of so many columns between two heights; the words are for those who don't see it.
    pub(super) fn new(columns: usize, (bottom_mm, top_mm): (f64, f64), words: &str) -> Self {
        let drawing = Self {
            svg: String::new(),
            columns,
            bottom_mm,
            top_mm,
        };
        let svg = format!(
            "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{words}\">\n",
            drawing.scale().1 + MARGIN,
            TOP + LENGTH + 24.0
        );
        Self { svg, ..drawing }
    }

    fn y(&self, height_mm: f64) -> f64 {
        let part = (height_mm - self.bottom_mm) / (self.top_mm - self.bottom_mm).max(1e-9);
        TOP + LENGTH * (1.0 - part)
    }

    fn x(column: usize) -> f64 {
        LEFT + STEP * column as f64
    }

    /// Left and right end of the scale of differences.
    fn scale(&self) -> (f64, f64) {
        let from = Self::x(self.columns) + APART;
        (from, from + SCALE)
    }

    /// A column's picture.
    pub(super) fn column(&mut self, column: usize, head: &str, picture: &Image) {
        let (x, uri) = (Self::x(column), data_uri(picture));
        // A String takes whatever is written.
        let _ = writeln!(
            self.svg,
            "<text class=\"head\" x=\"{x}\" y=\"24\">{head}</text>\n<image x=\"{x}\" y=\"{TOP}\" \
             width=\"{COLUMN}\" height=\"{LENGTH}\" preserveAspectRatio=\"none\" href=\"{uri}\"/>\n\
             <rect x=\"{x}\" y=\"{TOP}\" width=\"{COLUMN}\" height=\"{LENGTH}\" fill=\"none\" \
             stroke=\"#1f242938\"/>"
        );
    }

    /// Heights of which nothing is known: the columns are open there.
    pub(super) fn gap(&mut self, from_mm: f64, to_mm: f64) {
        let (low, high) = (self.y(from_mm), self.y(to_mm));
        for column in 0..self.columns {
            let _ = writeln!(
                self.svg,
                "<rect class=\"gap\" x=\"{}\" y=\"{high:.1}\" width=\"{}\" height=\"{:.1}\"/>",
                Self::x(column) - 1.0,
                COLUMN + 2.0,
                low - high
            );
        }
    }

    /// Heights to the left of the columns.
    pub(super) fn heights(&mut self) {
        for height in ticks(self.bottom_mm, self.top_mm) {
            let at = self.y(height);
            let _ = writeln!(
                self.svg,
                "<text x=\"36\" y=\"{:.1}\" text-anchor=\"end\">{height}</text>\n<line x1=\"39\" \
                 x2=\"43\" y1=\"{at:.1}\" y2=\"{at:.1}\" stroke=\"#8b9098\"/>",
                at + 4.0
            );
        }
        let _ = writeln!(
            self.svg,
            "<text x=\"36\" y=\"24\" text-anchor=\"end\">mm</text>"
        );
    }

    /// A line across all columns.
    fn mark(&mut self, height_mm: f64, words: &str) {
        let at = self.y(height_mm);
        let _ = writeln!(
            self.svg,
            "<line x1=\"{}\" x2=\"{}\" y1=\"{at:.1}\" y2=\"{at:.1}\" stroke=\"#1f2429\" \
             stroke-width=\"0.7\"><title>{} at {:.1} mm</title></line>",
            LEFT,
            Self::x(self.columns - 1) + COLUMN,
            escaped(words),
            height_mm
        );
    }

    /// How far colours are apart, as curves that end where nothing is known.
    pub(super) fn differences(&mut self, curves: &[Vec<Off>]) {
        let all = || curves.iter().flatten();
        let most = all().map(|o| o.de00.max(o.unsure_de00.unwrap_or(0.0)));
        let most = most.fold(0.0, f64::max);
        let full = [2.0, 5.0, 10.0, 20.0, 50.0, 100.0]
            .into_iter()
            .find(|&full| most <= full)
            .unwrap_or(100.0);
        let (left, right) = self.scale();
        let x = |de: f64| left + (right - left) * (de / full).clamp(0.0, 1.0);
        let _ = writeln!(
            self.svg,
            "<text class=\"head\" x=\"{left}\" y=\"24\">off, ΔE00</text>\n<rect x=\"{left}\" \
             y=\"{TOP}\" width=\"{}\" height=\"{LENGTH}\" fill=\"#ffffff\" stroke=\"#d9d5cc\"/>",
            right - left
        );
        for curve in curves {
            let points = |of: &dyn Fn(&Off) -> Option<f64>| -> Vec<String> {
                let points = curve.iter().filter_map(|o| Some((o.height_mm, of(o)?)));
                points
                    .map(|(height, de)| format!("{:.1},{:.1}", x(de), self.y(height)))
                    .collect()
            };
            let (unsure, off) = (points(&|o| o.unsure_de00), points(&|o| Some(o.de00)));
            let ends = curve.first().zip(curve.last());
            let ends = ends.map(|(low, high)| (self.y(low.height_mm), self.y(high.height_mm)));
            if let (Some((low, high)), false) = (ends, unsure.is_empty()) {
                let _ = writeln!(
                    self.svg,
                    "<polygon points=\"{left},{low:.1} {} {left},{high:.1}\" fill=\"#e4e2dd\"/>",
                    unsure.join(" ")
                );
            }
            let _ = writeln!(
                self.svg,
                "<polyline points=\"{}\" fill=\"none\" stroke=\"#9a2c10\" stroke-width=\"1.6\"/>",
                off.join(" ")
            );
        }
        let below = TOP + LENGTH + 16.0;
        let _ = writeln!(
            self.svg,
            "<text x=\"{left}\" y=\"{below}\" text-anchor=\"middle\">0</text>\n<text \
             x=\"{right}\" y=\"{below}\" text-anchor=\"middle\">{full}</text>"
        );
    }

    /// The figure with its caption.
    pub(super) fn figure(self, caption: &str) -> String {
        format!(
            "<figure>{}</svg>\n<figcaption>{caption}</figcaption></figure>\n",
            self.svg
        )
    }
}

/// The figure of a plan.
pub(super) fn figure(facts: &Facts, schedule: &Schedule, printed: &AsPrinted) -> String {
    let layers = &schedule.layers;
    let (Some(first), Some(last)) = (layers.first(), layers.last()) else {
        return "<p>There are no layers.</p>\n".to_owned();
    };
    let mut drawing = Drawing::new(
        2,
        (first.span.bottom_mm, last.span.top_mm),
        "Colours from the bed to the top: as requested, as printed, and the difference",
    );
    let asked = facts.heights.columns.first().map(|c| c.slices.as_slice());
    let out: Vec<Vec<ColourShare>> = layers
        .iter()
        .enumerate()
        .map(|(i, layer)| come_out(i, layer, printed))
        .collect();
    let columns = [("requested", asked.unwrap_or(&[])), ("as printed", &out)];
    for (column, (head, slices)) in columns.into_iter().enumerate() {
        drawing.column(column, head, &picture(slices, schedule));
    }
    drawing.heights();
    drawing.differences(&[differences(layers, printed)]);
    for mark in &facts.heights.marks {
        drawing.mark(mark.height_mm, &mark.text);
    }
    drawing.figure(
        "If a layer has several blends, they are side by side, each as wide as its visible share. \
         The curve is the mean ΔE00 of each layer.",
    )
}

/// What comes out in a layer, by region, as wide as it is seen.
fn come_out(index: usize, layer: &Layer, printed: &AsPrinted) -> Vec<ColourShare> {
    let delivered = printed.delivery.layers.get(index);
    let seen: f64 = layer.doses.iter().map(|d| d.area_mm2).sum();
    let laid: f64 = layer.doses.iter().map(|d| d.volume_mm3).sum();
    let mut doses: Vec<(usize, &Dose)> = layer.doses.iter().enumerate().collect();
    doses.sort_by_key(|(_, dose)| dose.region);
    doses
        .into_iter()
        .map(|(i, dose)| ColourShare {
            colour: delivered
                .and_then(|l| l.doses.get(i))
                .map_or(dose.srgb, |d| d.srgb),
            share: match seen > 0.0 {
                true => dose.area_mm2 / seen,
                false => dose.volume_mm3 / laid.max(1e-12),
            },
        })
        .collect()
}

/// A column of a plan as a picture.
fn picture(slices: &[Vec<ColourShare>], schedule: &Schedule) -> Image {
    let layers = &schedule.layers;
    let top = layers.last().map_or(0.0, |l| l.span.top_mm);
    stacked(2 * layers.len(), |part| {
        let height = top * part;
        let layer = layers.partition_point(|l| l.span.top_mm <= height);
        let slice = slices.get(layer.min(slices.len().saturating_sub(1)));
        slice.map_or(&[][..], Vec::as_slice)
    })
}

/// A picture of slices side by side, from the top down, of about so many rows: `slice` has those at
/// a part of the whole height.
pub(super) fn stacked<'a>(rows: usize, slice: impl Fn(f64) -> &'a [ColourShare]) -> Image {
    let rows = rows.clamp(1, PIXELS.1);
    let mut rgba = Vec::with_capacity(rows * PIXELS.0 as usize * 4);
    for row in 0..rows {
        let slice = slice(1.0 - (row as f64 + 0.5) / rows as f64);
        for column in 0..PIXELS.0 {
            let place = (f64::from(column) + 0.5) / f64::from(PIXELS.0);
            let mut passed = 0.0;
            let shade = slice.iter().find(|shade| {
                passed += shade.share;
                passed >= place
            });
            let colour = shade.or(slice.last()).map_or([255; 3], |s| s.colour.0);
            rgba.extend(colour);
            rgba.push(255);
        }
    }
    Image::from_rgba(PIXELS.0, rows as u32, rgba).unwrap_or_else(|| Image::clear(1, 1))
}

/// The mean difference of each layer.
fn differences(layers: &[Layer], printed: &AsPrinted) -> Vec<Off> {
    let mean = |(i, layer): (usize, &Layer)| {
        let delivered = printed.delivery.layers.get(i);
        let doses = delivered.map_or(&[][..], |l| l.doses.as_slice());
        let seen: f64 = layer.doses.iter().map(|d| d.area_mm2).sum();
        let both = layer.doses.iter().zip(doses);
        let sum: f64 = both.map(|(asked, out)| asked.area_mm2 * out.de00).sum();
        Off {
            height_mm: layer.span.middle_mm(),
            de00: if seen > 0.0 { sum / seen } else { 0.0 },
            unsure_de00: None,
        }
    };
    layers.iter().enumerate().map(mean).collect()
}

/// About ten round heights.
fn ticks(bottom: f64, top: f64) -> Vec<f64> {
    let wanted = (top - bottom).max(1e-9) / 10.0;
    let decade = 10f64.powf(wanted.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * decade)
        .find(|step| *step >= wanted)
        .unwrap_or(10.0 * decade);
    let from = (bottom / step - 1e-9).ceil() as i64;
    let to = (top / step + 1e-9).floor() as i64;
    let round = |v: f64| (v * 1e6).round() / 1e6;
    (from..=to).map(|i| round(i as f64 * step)).collect()
}
