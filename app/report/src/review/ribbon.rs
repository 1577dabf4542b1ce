//! Colours by height: as asked for, as they will come out, and how far those are apart.

use std::fmt::Write as _;

use plan::schedule::{Dose, Layer};
use plan::{AsPrinted, Schedule};

use super::html::data_uri;
use crate::markup::escaped;
use crate::sheet::{ColourShare, Facts};
use render::Image;

/// Size of the drawing.
const WIDTH: f64 = 340.0;
const TOP: f64 = 40.0;
const LENGTH: f64 = 520.0;
/// Left edges and width of the two columns, and the scale of differences.
const COLUMNS: [f64; 2] = [44.0, 142.0];
const COLUMN: f64 = 90.0;
const SCALE: (f64, f64) = (248.0, 330.0);
/// Pixels of a column's picture.
const PIXELS: (u32, usize) = (90, 1040);

/// The figure.
pub(super) fn figure(facts: &Facts, schedule: &Schedule, printed: &AsPrinted) -> String {
    let layers = &schedule.layers;
    let (Some(first), Some(last)) = (layers.first(), layers.last()) else {
        return "<p>There are no layers.</p>\n".to_owned();
    };
    let (bottom, top) = (first.span.bottom_mm, last.span.top_mm);
    let y = |height: f64| TOP + LENGTH * (1.0 - (height - bottom) / (top - bottom).max(1e-9));
    let mut svg = format!(
        "<svg viewBox=\"0 0 {WIDTH} {}\" role=\"img\" aria-label=\"Colours from the bed to the \
         top: as requested, as printed, and the difference\">\n",
        TOP + LENGTH + 24.0
    );
    let asked = facts.heights.columns.first().map(|c| c.slices.as_slice());
    let out: Vec<Vec<ColourShare>> = layers
        .iter()
        .enumerate()
        .map(|(i, layer)| come_out(i, layer, printed))
        .collect();
    let columns = [("requested", asked.unwrap_or(&[])), ("as printed", &out)];
    // A String takes whatever is written.
    for ((head, slices), x) in columns.into_iter().zip(COLUMNS) {
        let uri = data_uri(&picture(slices, schedule));
        let _ = writeln!(
            svg,
            "<text class=\"head\" x=\"{x}\" y=\"24\">{head}</text>\n<image x=\"{x}\" y=\"{TOP}\" \
             width=\"{COLUMN}\" height=\"{LENGTH}\" preserveAspectRatio=\"none\" href=\"{uri}\"/>\n\
             <rect x=\"{x}\" y=\"{TOP}\" width=\"{COLUMN}\" height=\"{LENGTH}\" fill=\"none\" \
             stroke=\"#1f242938\"/>"
        );
    }
    for height in ticks(bottom, top) {
        let at = y(height);
        let _ = writeln!(
            svg,
            "<text x=\"36\" y=\"{:.1}\" text-anchor=\"end\">{height}</text>\n<line x1=\"39\" \
             x2=\"43\" y1=\"{at:.1}\" y2=\"{at:.1}\" stroke=\"#8b9098\"/>",
            at + 4.0
        );
    }
    let _ = writeln!(svg, "<text x=\"36\" y=\"24\" text-anchor=\"end\">mm</text>");
    differences(&mut svg, layers, printed, &y);
    for mark in &facts.heights.marks {
        let at = y(mark.height_mm);
        let _ = writeln!(
            svg,
            "<line x1=\"{}\" x2=\"{}\" y1=\"{at:.1}\" y2=\"{at:.1}\" stroke=\"#1f2429\" \
             stroke-width=\"0.7\"><title>{} at {:.1} mm</title></line>",
            COLUMNS[0],
            COLUMNS[1] + COLUMN,
            escaped(&mark.text),
            mark.height_mm
        );
    }
    svg.push_str("</svg>\n");
    format!(
        "<figure>{svg}<figcaption>If a layer has several blends, they are side by side, each as \
         wide as its visible share. The curve is the mean ΔE00 of each \
         layer.</figcaption></figure>\n"
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

/// A column as a picture, from the top down.
fn picture(slices: &[Vec<ColourShare>], schedule: &Schedule) -> Image {
    let layers = &schedule.layers;
    let rows = (2 * layers.len()).clamp(1, PIXELS.1);
    let top = layers.last().map_or(0.0, |l| l.span.top_mm);
    let mut rgba = Vec::with_capacity(rows * PIXELS.0 as usize * 4);
    for row in 0..rows {
        let height = top * (1.0 - (row as f64 + 0.5) / rows as f64);
        let layer = layers.partition_point(|l| l.span.top_mm <= height);
        let slice = slices.get(layer.min(slices.len().saturating_sub(1)));
        let slice = slice.map_or(&[][..], Vec::as_slice);
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

/// The mean difference of each layer as a curve.
fn differences(svg: &mut String, layers: &[Layer], printed: &AsPrinted, y: &dyn Fn(f64) -> f64) {
    let means: Vec<f64> = layers
        .iter()
        .enumerate()
        .map(|(i, layer)| {
            let delivered = printed.delivery.layers.get(i);
            let doses = delivered.map_or(&[][..], |l| l.doses.as_slice());
            let seen: f64 = layer.doses.iter().map(|d| d.area_mm2).sum();
            let both = layer.doses.iter().zip(doses);
            let sum: f64 = both.map(|(asked, out)| asked.area_mm2 * out.de00).sum();
            if seen > 0.0 { sum / seen } else { 0.0 }
        })
        .collect();
    let most = means.iter().copied().fold(0.0, f64::max);
    let full = [2.0, 5.0, 10.0, 20.0, 50.0, 100.0]
        .into_iter()
        .find(|&full| most <= full)
        .unwrap_or(100.0);
    let x = |de: f64| SCALE.0 + (SCALE.1 - SCALE.0) * (de / full).clamp(0.0, 1.0);
    let points: Vec<String> = layers
        .iter()
        .zip(&means)
        .map(|(layer, de)| format!("{:.1},{:.1}", x(*de), y(layer.span.middle_mm())))
        .collect();
    let _ = writeln!(
        svg,
        "<text class=\"head\" x=\"{}\" y=\"24\">off, ΔE00</text>\n<rect x=\"{}\" y=\"{TOP}\" \
         width=\"{}\" height=\"{LENGTH}\" fill=\"#ffffff\" stroke=\"#d9d5cc\"/>\n<polyline \
         points=\"{}\" fill=\"none\" stroke=\"#9a2c10\" stroke-width=\"1.6\"/>\n<text x=\"{}\" \
         y=\"{}\" text-anchor=\"middle\">0</text>\n<text x=\"{}\" y=\"{}\" \
         text-anchor=\"middle\">{full}</text>",
        SCALE.0,
        SCALE.0,
        SCALE.1 - SCALE.0,
        points.join(" "),
        SCALE.0,
        TOP + LENGTH + 16.0,
        SCALE.1,
        TOP + LENGTH + 16.0
    );
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
