//! The different colours of many samples, each once.

use blend::{Lab, Srgb, Weighting, nearest_colour};
use geometry::pieces::NO_LABEL;
use rayon::prelude::*;

/// A sample without a colour.
const NOTHING: u32 = u32::MAX;

/// A colour's code, or that there is none, in four bytes.
pub(crate) fn packed(colour: Option<Srgb>) -> u32 {
    match colour {
        Some(Srgb([r, g, b])) => u32::from_be_bytes([0, r, g, b]),
        None => NOTHING,
    }
}

/// What [`packed`] was given.
pub(crate) fn colour(code: u32) -> Option<Srgb> {
    let [_, r, g, b] = code.to_be_bytes();
    (code != NOTHING).then_some(Srgb([r, g, b]))
}

/// Colours that one worker does before it looks for more.
const CHUNK: usize = 1 << 12;

/// How many 8-bit colours there are.
const ALL: usize = 1 << 24;

/// Different colours, each with a place in a list: in the order of their codes.
#[derive(Clone, Debug)]
pub(crate) struct Distinct {
    /// A bit for each colour that there is.
    bits: Vec<u64>,
    labs: Vec<Lab>,
    /// Where there are very many, cells of colours that are alike.
    cells: Option<Cells>,
}

/// Colours taken together, each cell by the colour in its middle.
#[derive(Clone, Debug)]
struct Cells {
    middles: Vec<Lab>,
    /// For each colour, its cell.
    of_colours: Vec<u32>,
}

impl Distinct {
    /// The different colours of samples that were [`packed`], and for each sample the place of its
    /// colour in their list, or [`NOTHING`].
    pub(crate) fn of(mut samples: Vec<u32>) -> (Self, Vec<u32>) {
        let mut bits = vec![0u64; ALL / 64];
        for code in &samples {
            if let Some(word) = bits.get_mut(*code as usize / 64) {
                *word |= 1 << (code % 64);
            }
        }
        // How many stand before each word: so a colour's place is found without a search.
        let mut count = 0;
        let before = bits.iter().map(|word| {
            count += word.count_ones();
            count - word.count_ones()
        });
        let before: Vec<u32> = before.collect();
        let place = |code: u32| {
            let word = code as usize / 64;
            let (word, before) = (bits.get(word)?, before.get(word)?);
            Some(before + (word & ((1u64 << (code % 64)) - 1)).count_ones())
        };
        samples
            .par_iter_mut()
            .for_each(|sample| *sample = place(*sample).unwrap_or(NOTHING));
        let colours: Vec<Srgb> = listed(&bits).collect();
        let lab = |colour: &Srgb| colour.to_xyz().to_lab();
        let distinct = Self {
            labs: colours.par_iter().map(lab).collect(),
            cells: (colours.len() > MANY).then(|| Cells::of(&colours)),
            bits,
        };
        (distinct, samples)
    }

    /// How many there are.
    pub(crate) fn count(&self) -> usize {
        self.labs.len()
    }

    /// All of them in their order.
    pub(crate) fn colours(&self) -> impl Iterator<Item = Srgb> + '_ {
        listed(&self.bits)
    }

    /// The colours by which all are sorted: themselves, or the middles of cells.
    pub(crate) fn stand_ins(&self) -> &[Lab] {
        self.cells
            .as_ref()
            .map_or(&self.labs, |cells| &cells.middles)
    }

    /// Which of those stands for the colour at a place; none beyond the last place.
    pub(crate) fn stand_in(&self, place: u32) -> Option<u32> {
        match &self.cells {
            Some(cells) => cells.of_colours.get(place as usize).copied(),
            None => ((place as usize) < self.labs.len()).then_some(place),
        }
    }

    /// For each place, which of a list is nearest; no label if the list is empty. Where there are
    /// very many colours, those that differ by less than four code values may be taken as one: they
    /// are ΔE00 0.5 from what stands for them, as a rule, and 4 at most.
    pub(crate) fn nearest(&self, among: &[Lab], weighting: Weighting) -> Vec<u8> {
        let known = nearest_of_each(self.stand_ins(), among, weighting);
        let Some(cells) = &self.cells else {
            return known;
        };
        let of_cell = |cell: &u32| known.get(*cell as usize).copied().unwrap_or(NO_LABEL);
        cells.of_colours.par_iter().map(of_cell).collect()
    }
}

/// The colours whose bits are set, in order.
fn listed(bits: &[u64]) -> impl Iterator<Item = Srgb> + '_ {
    bits.iter().enumerate().flat_map(|(place, word)| {
        let mut left = *word;
        std::iter::from_fn(move || {
            let bit = (left != 0).then(|| left.trailing_zeros())?;
            left &= left - 1;
            let [_, r, g, b] = (64 * place as u32 + bit).to_be_bytes();
            Some(Srgb([r, g, b]))
        })
    })
}

/// More colours than this are very many.
const MANY: usize = 1 << 18;

/// The bits of a colour's code that are the same in a cell, and those of the cell's middle.
const SAME: u32 = 0xfc_fc_fc;
const MIDDLE: u32 = 0x02_02_02;

impl Cells {
    fn of(colours: &[Srgb]) -> Self {
        let middle = |own: &Srgb| packed(Some(*own)) & SAME | MIDDLE;
        let (cells, of_colours) = Distinct::of(colours.iter().map(middle).collect());
        Self {
            middles: cells.labs,
            of_colours,
        }
    }
}

/// Which of a list is nearest to each colour; no label if the list is empty.
fn nearest_of_each(labs: &[Lab], among: &[Lab], weighting: Weighting) -> Vec<u8> {
    let among = among.get(..NO_LABEL.into()).unwrap_or(among);
    // Colours of one chunk are alike, and so the last one's is a good guess.
    let of_chunk = |chunk: &[Lab]| -> Vec<u8> {
        let mut guess = 0;
        let nearest = |lab: &Lab| match nearest_colour(*lab, among, weighting, guess) {
            Some(place) => {
                guess = place;
                place as u8
            }
            None => NO_LABEL,
        };
        chunk.iter().map(nearest).collect()
    };
    labs.par_chunks(CHUNK).flat_map_iter(of_chunk).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_colour_is_once_in_the_list_and_found_at_its_place() {
        let samples = [[9, 9, 9], [0, 0, 0], [255, 255, 255], [9, 9, 9], [0, 0, 63]];
        let samples = samples.map(|code| packed(Some(Srgb(code))));
        let (distinct, places) = Distinct::of(samples.into_iter().chain([packed(None)]).collect());
        let colours: Vec<Srgb> = distinct.colours().collect();
        assert_eq!(distinct.count(), 4);
        assert_eq!(
            colours.iter().map(|c| c.0[2]).collect::<Vec<_>>(),
            [0, 63, 9, 255]
        );
        assert_eq!(places, [2, 0, 3, 2, 1, NOTHING]);
        for (place, own) in colours.iter().enumerate() {
            assert_eq!(colour(packed(Some(*own))), Some(*own));
            assert_eq!(distinct.stand_in(place as u32), Some(place as u32));
            assert_eq!(distinct.stand_ins()[place], own.to_xyz().to_lab());
        }
        assert_eq!(
            (distinct.stand_in(4), distinct.stand_in(NOTHING)),
            (None, None)
        );
        let black_and_white = [Srgb([0; 3]), Srgb([255; 3])].map(|c| c.to_xyz().to_lab());
        let nearest = distinct.nearest(&black_and_white, Weighting::default());
        assert_eq!(nearest, [0, 0, 0, 1]);
        assert_eq!(distinct.nearest(&[], Weighting::default()), [NO_LABEL; 4]);
    }

    #[test]
    fn very_many_colours_are_sorted_by_cells_that_are_near_them() {
        let code = |i: u32| i.wrapping_mul(2_654_435_761) >> 8;
        let (distinct, places) = Distinct::of((0..400_000).map(code).collect());
        assert!(distinct.count() > MANY && distinct.stand_ins().len() <= MANY);
        let list = [[20, 60, 130], [240, 230, 210], [180, 40, 40]];
        let list = list.map(|code| Srgb(code).to_xyz().to_lab());
        let found = distinct.nearest(&list, Weighting::default());
        let off = |lab: Lab, label: u8| blend::ciede2000(lab, list[usize::from(label)]);
        let exact = nearest_of_each(&distinct.labs, &list, Weighting::default());
        let (mut moved, mut lost) = (0.0, 0.0);
        for place in &places {
            let place = *place as usize;
            let lab = distinct.labs[place];
            let stand_in = distinct.stand_in(place as u32).expect("a colour") as usize;
            let by = blend::ciede2000(lab, distinct.stand_ins()[stand_in]);
            assert!(by < 4.0);
            moved += by;
            lost += off(lab, found[place]) - off(lab, exact[place]);
        }
        let count = places.len() as f64;
        assert!(moved / count < 0.6 && (0.0..0.01).contains(&(lost / count)));
    }
}
