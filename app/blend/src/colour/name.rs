//! Plain names of colours.

use super::Lab;

/// Less chroma than this is a grey.
const GREY: f64 = 8.0;

impl Lab {
    /// A plain name for a colour, such as "pale blue": a hue by where the colours of that name lie
    /// in CIELAB, and a word for how light it is. The borders are our choice, no source.
    ///
    /// ```
    /// use blend::Xyz;
    /// let name = |code: &str| Xyz::from_srgb(code.parse().expect("a colour")).to_lab().name();
    /// assert_eq!(name("#ffffff"), "white");
    /// assert_eq!(name("#b9cfe8"), "pale blue");
    /// assert_eq!(name("#6b3f22"), "dark brown");
    /// ```
    pub fn name(self) -> String {
        let light = self.l;
        if self.chroma() < GREY {
            let grey = match light {
                l if l >= 94.0 => "white",
                l if l >= 78.0 => "pale grey",
                l if l >= 60.0 => "light grey",
                l if l >= 38.0 => "grey",
                l if l >= 18.0 => "dark grey",
                _ => "black",
            };
            return grey.to_owned();
        }
        let hue = self.hue();
        let word = match light {
            l if l >= 80.0 && self.chroma() < 45.0 => "pale ",
            l if l >= 65.0 && self.chroma() < 60.0 => "light ",
            l if l >= 36.0 => "",
            l if l >= 16.0 => "dark ",
            _ => "very dark ",
        };
        format!("{word}{hue}")
    }

    fn hue(self) -> &'static str {
        let (light, chroma, hue) = (self.l, self.chroma(), self.hue_deg());
        let warm = (25.0..95.0).contains(&hue);
        match hue {
            _ if warm && light < 58.0 && chroma < 52.0 && hue >= 40.0 => "brown",
            _ if warm && light >= 70.0 && chroma < 30.0 => "cream",
            h if !(12.0..345.0).contains(&h) => match light {
                l if l >= 60.0 => "pink",
                _ => "crimson",
            },
            h if h < 48.0 => match (light, chroma) {
                (l, c) if l >= 60.0 && c < 45.0 => "pink",
                _ => "red",
            },
            h if h < 76.0 => "orange",
            h if h < 104.0 => "yellow",
            h if h < 125.0 => "yellow-green",
            h if h < 170.0 => "green",
            h if h < 225.0 => "turquoise",
            h if h < 300.0 => "blue",
            h if h < 322.0 => "violet",
            _ => "magenta",
        }
    }
}
