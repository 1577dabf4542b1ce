//! The first layer seen from above, to be looked at before printing.

use std::fmt::Write;

use geometry::Progress;
use toolpath::{Replay, Step};

use super::deposition::{Layer, Piece, Replayed};
use super::laws::Declared;
use crate::{Source, WeaveError};

/// Room about the plastic, mm.
const MARGIN_MM: f64 = 4.0;

/// Height of the words beneath it, mm.
const WORDS_MM: f64 = 3.0;

/// The most pieces that are drawn: a full plate.
const MOST_PIECES: usize = 300_000;

/// Draws the lowest layer of a woven file as an SVG in millimetres: its lines in their colours and
/// widths, the ways between them, where it begins and ends, and the purge block. `None` if nothing
/// is printed.
///
/// # Errors
/// When the file can't be read, the dialect can't serve, or when cancelled.
pub fn svg(
    replayed: &Replayed<'_>,
    woven: &Source<'_>,
    progress: &Progress,
) -> Result<Option<String>, WeaveError> {
    let Some((lowest_mm, blocks)) = lowest(replayed, woven, progress)? else {
        return Ok(None);
    };
    let only = Replayed {
        heights_mm: lowest_mm - 1e-3..=lowest_mm + 1e-3,
        ..*replayed
    };
    let layers = only.layers(woven, progress)?;
    let drawn = layers.first().and_then(|layer| drawn(layer, &blocks));
    Ok(drawn)
}

/// The lowest height at which plastic is laid along a way, mm, and the purge blocks declared.
fn lowest(
    replayed: &Replayed<'_>,
    woven: &Source<'_>,
    progress: &Progress,
) -> Result<Option<(f64, Vec<Declared>)>, WeaveError> {
    let mut replay = Replay::new(woven.read()?, replayed.settings);
    let (mut lowest_mm, mut blocks) = (f64::INFINITY, Vec::new());
    let mut next_look = 0;
    while let Some(seen) = replay.skim()? {
        match seen.step {
            Step::Move(step) if step.prints() => {
                lowest_mm = lowest_mm.min(step.from[2].max(step.to[2]));
            }
            Step::Nothing if lowest_mm.is_infinite() => {
                let text = seen.bytes.trim_ascii_start();
                blocks.extend(text.strip_prefix(b";").and_then(Declared::of));
            }
            _ => {}
        }
        if replay.offset() >= next_look {
            next_look = replay.offset() + (1 << 20);
            progress.check()?;
        }
    }
    Ok(lowest_mm.is_finite().then_some((lowest_mm, blocks)))
}

fn drawn(layer: &Layer, blocks: &[Declared]) -> Option<String> {
    let pieces = layer.pieces.get(..MOST_PIECES.min(layer.pieces.len()))?;
    let (first, last) = (pieces.first()?, pieces.last()?);
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let ends = pieces.iter().flat_map(|p| [p.from_mm, p.to_mm]);
    let corners = blocks.iter().flat_map(|b| [b.low_mm, b.high_mm]);
    for [x, y] in ends
        .map(|[x, y, _]| [f64::from(x), f64::from(y)])
        .chain(corners)
    {
        low = [low[0].min(x), low[1].min(y)];
        high = [high[0].max(x), high[1].max(y)];
    }
    let size = [high[0] - low[0], high[1] - low[1]].map(|s| s + 2.0 * MARGIN_MM);
    // y runs upwards on the bed and downwards in a picture.
    let put = |[x, y, _]: [f32; 3]| {
        [
            f64::from(x) - low[0] + MARGIN_MM,
            high[1] - f64::from(y) + MARGIN_MM,
        ]
    };
    let mut out = String::new();
    let full = size[1] + 2.0 * WORDS_MM;
    // Writing to a String can't fail.
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.1}mm\" height=\"{full:.1}mm\" \
         viewBox=\"0 0 {:.3} {full:.3}\">",
        size[0], size[0]
    );
    let _ = writeln!(
        out,
        "<rect width=\"100%\" height=\"100%\" fill=\"#c8c8c8\"/>"
    );
    let mut from: Option<&Piece> = None;
    for piece in pieces {
        let _ = way(&mut out, from, piece, &put);
        let _ = line(&mut out, piece, layer.top_mm, &put);
        from = Some(piece);
    }
    for block in blocks {
        let [x, y] = put([block.low_mm[0] as f32, block.high_mm[1] as f32, 0.0]);
        let _ = writeln!(
            out,
            "<rect x=\"{x:.3}\" y=\"{y:.3}\" width=\"{:.3}\" height=\"{:.3}\" fill=\"none\" \
             stroke=\"#d02020\" stroke-width=\"0.2\" stroke-dasharray=\"1 1\"/>",
            block.high_mm[0] - block.low_mm[0],
            block.high_mm[1] - block.low_mm[1]
        );
    }
    let ([x, y], [to_x, to_y]) = (put(first.from_mm), put(last.to_mm));
    let _ = writeln!(
        out,
        "<circle cx=\"{x:.3}\" cy=\"{y:.3}\" r=\"1\" fill=\"none\" stroke=\"#d02020\" \
         stroke-width=\"0.3\"/>\n<rect x=\"{:.3}\" y=\"{:.3}\" width=\"2\" height=\"2\" \
         fill=\"none\" stroke=\"#d02020\" stroke-width=\"0.3\"/>",
        to_x - 1.0,
        to_y - 1.0
    );
    let block = if !blocks.is_empty() {
        ", dashed: the purge block"
    } else {
        ""
    };
    let _ = writeln!(
        out,
        "<text x=\"{MARGIN_MM}\" y=\"{:.3}\" font-family=\"sans-serif\" font-size=\"{:.1}\">First \
         layer, up to {:.2} mm. Ring: begins here; square: ends here{block}.</text>\n</svg>",
        size[1] + WORDS_MM,
        0.8 * WORDS_MM,
        layer.top_mm
    );
    Some(out)
}

/// The way from one piece to the next, if it is not where the last one ended.
fn way(
    out: &mut String,
    from: Option<&Piece>,
    to: &Piece,
    put: &impl Fn([f32; 3]) -> [f64; 2],
) -> std::fmt::Result {
    let Some(from) = from.filter(|from| from.to_mm != to.from_mm) else {
        return Ok(());
    };
    let ([x, y], [to_x, to_y]) = (put(from.to_mm), put(to.from_mm));
    writeln!(
        out,
        "<path d=\"M{x:.3} {y:.3}L{to_x:.3} {to_y:.3}\" stroke=\"#707070\" stroke-width=\"0.05\"/>"
    )
}

/// A piece as wide as its plastic is.
fn line(
    out: &mut String,
    piece: &Piece,
    height_mm: f64,
    put: &impl Fn([f32; 3]) -> [f64; 2],
) -> std::fmt::Result {
    let ([x, y], [to_x, to_y]) = (put(piece.from_mm), put(piece.to_mm));
    let length = (to_x - x).hypot(to_y - y);
    let wide = f64::from(piece.volume_mm3) / (length * height_mm).max(1e-6);
    let colour = piece
        .colour
        .map_or_else(|| "none".to_owned(), |c| c.to_string());
    writeln!(
        out,
        "<path d=\"M{x:.3} {y:.3}L{to_x:.3} {to_y:.3}\" stroke=\"{colour}\" \
         stroke-width=\"{:.3}\" stroke-linecap=\"round\"/>",
        wide.clamp(0.05, 3.0)
    )
}
