//! Numbered things in stretches, for all cores: however many there are, the stretches are the same, and
//! so is what is found if it is joined in their order.

use std::ops::Range;

use rayon::prelude::*;

/// Things that one thread looks at by itself.
const TOGETHER: usize = 1 << 14;

/// Numbers from 0, in stretches that follow each other.
pub(crate) fn stretches(count: usize) -> impl IndexedParallelIterator<Item = Range<usize>> {
    let begin = |stretch: usize| stretch * TOGETHER;
    (0..count.div_ceil(TOGETHER))
        .into_par_iter()
        .map(move |i| begin(i)..begin(i + 1).min(count))
}
