//! Kubelka and Munk's formulas for one layer at one wavelength.
//!
//! P. Kubelka, F. Munk, "Ein Beitrag zur Optik der Farbanstriche", Zeitschrift für technische
//! Physik 12 (1931) 593–601; P. Kubelka, "New contributions to the optics of intensely
//! light-scattering materials, part I", Journal of the Optical Society of America 38 (1948)
//! 448–457. K is absorption and S scattering per millimetre; R is reflectance without the
//! surface's own reflection (see [`Saunderson`](super::Saunderson)).

/// K/S of an opaque layer of reflectance R: (1 − R)²/(2R), for R in `0..=1` above 0.
///
/// ```
/// use blend::mix::k_over_s;
/// assert_eq!(k_over_s(0.5), 0.25);
/// ```
pub fn k_over_s(reflectance: f64) -> f64 {
    (1.0 - reflectance) * (1.0 - reflectance) / (2.0 * reflectance)
}

/// Reflectance of an opaque layer: 1 + K/S − √((K/S)² + 2K/S), the inverse of [`k_over_s`].
///
/// ```
/// use blend::mix::{k_over_s, reflectance_of_thick};
/// assert!((reflectance_of_thick(k_over_s(0.37)) - 0.37).abs() < 1e-12);
/// ```
#[inline]
pub fn reflectance_of_thick(k_over_s: f64) -> f64 {
    // The same root written as a quotient, which loses nothing for a dark layer.
    1.0 / (1.0 + k_over_s + (k_over_s * (k_over_s + 2.0)).sqrt())
}

/// Reflectance of a layer of a thickness over a backing that it touches (Kubelka 1948,
/// equation 28): (1 − Rg(a − b coth bSX)) / (a − Rg + b coth bSX), with a = 1 + K/S and
/// b = √(a² − 1).
pub fn reflectance_of_layer(k: f64, s: f64, thickness_mm: f64, backing: f64) -> f64 {
    if thickness_mm <= 0.0 {
        return backing;
    }
    let a = 1.0 + k / s;
    let b = (a * a - 1.0).max(0.0).sqrt();
    let depth = s * thickness_mm;
    let y = b * depth;
    // b coth(bSX), by its series where b or the layer vanishes.
    let u = if y < 1e-4 {
        (1.0 + y * y / 3.0) / depth
    } else {
        b / y.tanh()
    };
    if u.is_infinite() {
        return backing;
    }
    (1.0 - backing * (a - u)) / (a - backing + u)
}

/// K and S per millimetre of a layer read over two backings: `readings` are pairs of the
/// layer's reflectance and the backing's own.
///
/// Both readings put into the formula of [`reflectance_of_layer`] and solved for `a` and
/// `b coth bSX`; with an ideal black backing it is Kubelka's own. `None` when the two readings
/// do not tell the backings apart (the layer is opaque) or contradict each other.
pub fn absorption_and_scattering(
    readings: [(f64, f64); 2],
    thickness_mm: f64,
) -> Option<(f64, f64)> {
    let [(r1, g1), (r2, g2)] = readings;
    let a = ((1.0 + r1 * g1) * (r2 - g2) - (1.0 + r2 * g2) * (r1 - g1))
        / ((r1 + g1) * (r2 - g2) - (r2 + g2) * (r1 - g1));
    // The reading further from its backing tells more.
    let (r, g) = if (r1 - g1).abs() > (r2 - g2).abs() {
        (r1, g1)
    } else {
        (r2, g2)
    };
    let u = (1.0 + r * g - a * (r + g)) / (r - g);
    let b = (a * a - 1.0).sqrt();
    if !(a > 1.0 && u > b && thickness_mm > 0.0) {
        return None;
    }
    // arccoth(u / b) = ½ ln((u + b) / (u − b)).
    let depth = if b < 1e-6 {
        1.0 / u
    } else {
        ((u + b) / (u - b)).ln() / (2.0 * b)
    };
    let s = depth / thickness_mm;
    (s.is_finite() && s > 0.0).then_some(((a - 1.0) * s, s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// K/S of reflectances, from the formula as handbooks print it (D. B. Judd, G. Wyszecki,
    /// "Color in Business, Science and Industry", 3rd ed., 1975, table of the Kubelka–Munk
    /// function; the values here worked by hand with exact fractions).
    #[test]
    fn k_over_s_of_the_handbook() {
        for (r, expected) in [
            (0.01, 49.005),
            (0.05, 9.025),
            (0.10, 4.05),
            (0.20, 1.6),
            (0.25, 1.125),
            (0.40, 0.45),
            (0.50, 0.25),
            (0.75, 0.0416666667),
            (0.80, 0.025),
            (0.90, 0.0055555556),
            (1.00, 0.0),
        ] {
            assert!((k_over_s(r) - expected).abs() < 1e-9, "{r}");
        }
    }

    /// A layer without absorption over black reflects SX/(1 + SX) (Kubelka 1948, the limit
    /// of K = 0).
    #[test]
    fn white_without_absorption() {
        let r = reflectance_of_layer(0.0, 4.0, 0.5, 0.0);
        assert!((r - 2.0 / 3.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn thick_layers_hide_and_thin_ones_show(
            k in 0.01..20.0, s in 0.01..20.0, backing in 0.0..1.0,
        ) {
            let thick = reflectance_of_layer(k, s, 1e5, backing);
            prop_assert!((thick - reflectance_of_thick(k / s)).abs() < 1e-9);
            let none = reflectance_of_layer(k, s, 0.0, backing);
            prop_assert_eq!(none, backing);
            let thin = reflectance_of_layer(k, s, 1e-9, backing);
            prop_assert!((thin - backing).abs() < 1e-6);
        }

        /// Two layers, one printed on the other, are one layer of both thicknesses.
        #[test]
        fn layers_add_up(
            k in 0.01..10.0, s in 0.01..10.0, x in 0.01..2.0, y in 0.01..2.0, backing in 0.0..1.0,
        ) {
            let below = reflectance_of_layer(k, s, x, backing);
            let both = reflectance_of_layer(k, s, y, below);
            prop_assert!((both - reflectance_of_layer(k, s, x + y, backing)).abs() < 1e-9);
        }

        #[test]
        fn two_backings_tell_k_and_s(
            k in 0.02..5.0, s in 0.1..10.0, x in 0.1..1.0,
            black in 0.0..0.1, white in 0.6..0.95,
        ) {
            let over_black = reflectance_of_layer(k, s, x, black);
            let over_white = reflectance_of_layer(k, s, x, white);
            prop_assume!(over_white - over_black > 1e-3);
            let (k2, s2) = absorption_and_scattering(
                [(over_black, black), (over_white, white)], x,
            ).expect("a translucent layer");
            prop_assert!((k2 / k - 1.0).abs() < 1e-4, "{k2} {k}");
            prop_assert!((s2 / s - 1.0).abs() < 1e-4, "{s2} {s}");
        }
    }
}
