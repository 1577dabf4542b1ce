//! Eight numbers at once: in two registers of four, which every processor has, or in one of eight
//! where the processor that runs this has those.

use glam::Vec4;

/// How a processor computes with eight numbers of single precision.
///
/// Whatever calls its methods must be inlined into what is given to [`Lanes::run`]: a function
/// between them, a closure too, knows nothing of wide registers and is called for each sum.
pub(super) trait Lanes: Copy {
    /// Eight numbers.
    type Eight: Copy;

    /// Does some work with all registers that there are.
    fn run<R>(self, work: impl FnOnce() -> R) -> R;

    fn of(self, each: [f32; 8]) -> Self::Eight;
    fn all(self, value: f32) -> Self::Eight;
    fn add(self, a: Self::Eight, b: Self::Eight) -> Self::Eight;
    fn sub(self, a: Self::Eight, b: Self::Eight) -> Self::Eight;
    fn mul(self, a: Self::Eight, b: Self::Eight) -> Self::Eight;
    fn min(self, a: Self::Eight, b: Self::Eight) -> Self::Eight;
    fn max(self, a: Self::Eight, b: Self::Eight) -> Self::Eight;
    /// In its lowest bits, where the first are no greater than the second.
    fn no_greater(self, a: Self::Eight, b: Self::Eight) -> u32;
    /// The third where the first are no greater than the second, else infinity.
    fn if_no_greater(self, a: Self::Eight, b: Self::Eight, then: Self::Eight) -> Self::Eight;
    fn each(self, all: Self::Eight) -> [f32; 8];

    /// As [`Lanes::of`], for three axes.
    #[inline(always)]
    fn three(self, [x, y, z]: [[f32; 8]; 3]) -> [Self::Eight; 3] {
        [self.of(x), self.of(y), self.of(z)]
    }
}

/// Two registers of four.
#[derive(Clone, Copy)]
pub(super) struct Narrow;

impl Lanes for Narrow {
    type Eight = [Vec4; 2];

    #[inline(always)]
    fn run<R>(self, work: impl FnOnce() -> R) -> R {
        work()
    }

    #[inline(always)]
    fn of(self, [a, b, c, d, e, f, g, h]: [f32; 8]) -> [Vec4; 2] {
        [Vec4::new(a, b, c, d), Vec4::new(e, f, g, h)]
    }

    #[inline(always)]
    fn all(self, value: f32) -> [Vec4; 2] {
        [Vec4::splat(value); 2]
    }

    #[inline(always)]
    fn add(self, a: [Vec4; 2], b: [Vec4; 2]) -> [Vec4; 2] {
        [a[0] + b[0], a[1] + b[1]]
    }

    #[inline(always)]
    fn sub(self, a: [Vec4; 2], b: [Vec4; 2]) -> [Vec4; 2] {
        [a[0] - b[0], a[1] - b[1]]
    }

    #[inline(always)]
    fn mul(self, a: [Vec4; 2], b: [Vec4; 2]) -> [Vec4; 2] {
        [a[0] * b[0], a[1] * b[1]]
    }

    #[inline(always)]
    fn min(self, a: [Vec4; 2], b: [Vec4; 2]) -> [Vec4; 2] {
        [a[0].min(b[0]), a[1].min(b[1])]
    }

    #[inline(always)]
    fn max(self, a: [Vec4; 2], b: [Vec4; 2]) -> [Vec4; 2] {
        [a[0].max(b[0]), a[1].max(b[1])]
    }

    #[inline(always)]
    fn no_greater(self, a: [Vec4; 2], b: [Vec4; 2]) -> u32 {
        a[0].cmple(b[0]).bitmask() | a[1].cmple(b[1]).bitmask() << 4
    }

    #[inline(always)]
    fn if_no_greater(self, a: [Vec4; 2], b: [Vec4; 2], then: [Vec4; 2]) -> [Vec4; 2] {
        [
            Vec4::select(a[0].cmple(b[0]), then[0], Vec4::INFINITY),
            Vec4::select(a[1].cmple(b[1]), then[1], Vec4::INFINITY),
        ]
    }

    #[inline(always)]
    fn each(self, [low, high]: [Vec4; 2]) -> [f32; 8] {
        let ([a, b, c, d], [e, f, g, h]) = (low.to_array(), high.to_array());
        [a, b, c, d, e, f, g, h]
    }
}

/// One register of eight.
#[cfg(target_arch = "x86_64")]
pub(super) type Wide = fearless_simd::x86::Avx2;

/// The wide registers of the processor that this runs on, if it has those.
#[cfg(target_arch = "x86_64")]
pub(super) fn wide() -> Option<Wide> {
    fearless_simd::Level::new().as_avx2()
}

#[cfg(target_arch = "x86_64")]
impl Lanes for Wide {
    type Eight = fearless_simd::f32x8<Self>;

    #[inline(always)]
    fn run<R>(self, work: impl FnOnce() -> R) -> R {
        fearless_simd::Simd::vectorize(self, work)
    }

    #[inline(always)]
    fn of(self, each: [f32; 8]) -> Self::Eight {
        fearless_simd::Simd::load_array_f32x8(self, each)
    }

    #[inline(always)]
    fn all(self, value: f32) -> Self::Eight {
        fearless_simd::Simd::splat_f32x8(self, value)
    }

    #[inline(always)]
    fn add(self, a: Self::Eight, b: Self::Eight) -> Self::Eight {
        a + b
    }

    #[inline(always)]
    fn sub(self, a: Self::Eight, b: Self::Eight) -> Self::Eight {
        a - b
    }

    #[inline(always)]
    fn mul(self, a: Self::Eight, b: Self::Eight) -> Self::Eight {
        a * b
    }

    #[inline(always)]
    fn min(self, a: Self::Eight, b: Self::Eight) -> Self::Eight {
        fearless_simd::Simd::min_f32x8(self, a, b)
    }

    #[inline(always)]
    fn max(self, a: Self::Eight, b: Self::Eight) -> Self::Eight {
        fearless_simd::Simd::max_f32x8(self, a, b)
    }

    #[inline(always)]
    fn no_greater(self, a: Self::Eight, b: Self::Eight) -> u32 {
        let holds = fearless_simd::Simd::simd_le_f32x8(self, a, b);
        // A bit for each byte, four bytes for each number: of those, one bit, moved together.
        let bits = self.avx2._mm256_movemask_epi8(holds.into()) as u32 & 0x1111_1111;
        let bits = (bits | bits >> 3) & 0x0303_0303;
        let bits = (bits | bits >> 6) & 0x000f_000f;
        (bits | bits >> 12) & 0xff
    }

    #[inline(always)]
    fn if_no_greater(self, a: Self::Eight, b: Self::Eight, then: Self::Eight) -> Self::Eight {
        let holds = fearless_simd::Simd::simd_le_f32x8(self, a, b);
        fearless_simd::Simd::select_f32x8(self, holds, then, self.all(f32::INFINITY))
    }

    #[inline(always)]
    fn each(self, all: Self::Eight) -> [f32; 8] {
        all.into()
    }
}
