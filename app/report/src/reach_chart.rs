//! A chart of the colours that a set of spools reaches, as SVG 1.1: chroma plane and
//! lightness side by side, each dot in its own colour.

use std::fmt::Write as _;

use blend::reach::{Match, Reached};
use blend::{Lab, Srgb};

use crate::markup::escaped;

/// What a chart shows.
#[derive(Clone, Debug)]
pub struct ReachChart<'a> {
    /// What it is called.
    pub title: String,
    /// Each spool alone, with its name.
    pub spools: Vec<(&'a str, Lab)>,
    /// The reachable colours.
    pub reached: &'a [Reached],
    /// A wanted colour and the blend that comes nearest to it.
    pub wanted: Option<(Lab, Match)>,
}

const PANEL: f64 = 420.0;
const LEFT: f64 = 64.0;
const TOP: f64 = 72.0;
const BETWEEN: f64 = 84.0;
const WIDTH: f64 = LEFT + 2.0 * PANEL + BETWEEN + 32.0;
const HEIGHT: f64 = TOP + PANEL + 64.0;
const FONT: &str = "font-family=\"sans-serif\"";

/// A square panel and the values at its edges.
struct Panel {
    left: f64,
    x: (f64, f64),
    y: (f64, f64),
}

impl Panel {
    fn at(&self, x: f64, y: f64) -> (f64, f64) {
        let part = |v: f64, (from, to): (f64, f64)| (v - from) / (to - from);
        (
            self.left + PANEL * part(x, self.x),
            TOP + PANEL * (1.0 - part(y, self.y)),
        )
    }
}

impl ReachChart<'_> {
    /// The chart as SVG text.
    ///
    /// ```
    /// use blend::{LinearLight, MixModel, ShareLimits, Spool, SpoolColour, reach};
    /// let spool = |code: &str| Spool::new(code, SpoolColour::Hex(code.parse().expect("one")));
    /// let spools = [spool("#f2efe6"), spool("#14507a")];
    /// let model = LinearLight::new(&spools);
    /// let reached = reach::sample(&model, ShareLimits::NONE, 50);
    /// let chart = report::reach_chart::ReachChart {
    ///     title: "Two spools".into(),
    ///     spools: spools.iter().map(|s| (s.name.as_str(), s.xyz().to_lab())).collect(),
    ///     reached: &reached,
    ///     wanted: None,
    /// };
    /// assert!(chart.svg().starts_with("<svg") && chart.svg().matches("<circle").count() > 100);
    /// ```
    pub fn svg(&self) -> String {
        let all: Vec<Lab> = self.colours().collect();
        let reach = |part: fn(&Lab) -> f64| all.iter().map(part).fold(20.0, f64::max);
        let across = ((reach(|c| c.a.abs().max(c.b.abs())) + 5.0) / 10.0).ceil() * 10.0;
        let chroma = ((reach(|c| c.chroma()) + 5.0) / 10.0).ceil() * 10.0;
        let plane = Panel {
            left: LEFT,
            x: (-across, across),
            y: (-across, across),
        };
        let lightness = Panel {
            left: LEFT + PANEL + BETWEEN,
            x: (0.0, chroma),
            y: (0.0, 100.0),
        };
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" \
             width=\"{WIDTH}\" height=\"{HEIGHT}\">\n\
             <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"#fbfaf7\"/>\n\
             <text x=\"{LEFT}\" y=\"36\" {FONT} font-size=\"20\" fill=\"#1f2429\">{}</text>\n",
            escaped(&self.title)
        );
        frame(
            &mut svg,
            &plane,
            ("a*  (green to red)", "b*  (blue to yellow)"),
            across / 2.0,
        );
        frame(
            &mut svg,
            &lightness,
            ("C*  (chroma)", "L*  (lightness)"),
            20.0,
        );
        self.draw(&mut svg, |c| plane.at(c.a, c.b));
        self.draw(&mut svg, |c| lightness.at(c.chroma(), c.l));
        svg.push_str("</svg>\n");
        svg
    }

    fn colours(&self) -> impl Iterator<Item = Lab> + '_ {
        let wanted = self
            .wanted
            .iter()
            .flat_map(|(lab, found)| [*lab, found.lab]);
        let spools = self.spools.iter().map(|s| s.1);
        self.reached
            .iter()
            .map(|r| r.lab)
            .chain(spools)
            .chain(wanted)
    }

    fn draw(&self, svg: &mut String, place: impl Fn(Lab) -> (f64, f64)) {
        // A String takes whatever is written.
        let mut add = |text: String| {
            let _ = writeln!(svg, "{text}");
        };
        for reached in self.reached {
            let ((x, y), code) = (place(reached.lab), srgb(reached.lab));
            add(format!(
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"{code}\"/>"
            ));
        }
        for (name, lab) in &self.spools {
            let ((x, y), code) = (place(*lab), srgb(*lab));
            add(format!(
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"8\" fill=\"{code}\" stroke=\"#1f2429\"/>\
                 <text x=\"{:.1}\" y=\"{:.1}\" {FONT} font-size=\"12\" fill=\"#1f2429\" \
                 stroke=\"#fbfaf7\" stroke-width=\"3\" paint-order=\"stroke\">{}</text>",
                x + 12.0,
                y + 4.0,
                escaped(name)
            ));
        }
        if let Some((wanted, found)) = &self.wanted {
            let ((x, y), (to_x, to_y)) = (place(*wanted), place(found.lab));
            let code = srgb(*wanted);
            add(format!(
                "<line x1=\"{x:.1}\" y1=\"{y:.1}\" x2=\"{to_x:.1}\" y2=\"{to_y:.1}\" \
                 stroke=\"#1f2429\" stroke-dasharray=\"4 3\"/>\
                 <rect x=\"{:.1}\" y=\"{:.1}\" width=\"14\" height=\"14\" fill=\"{code}\" \
                 stroke=\"#1f2429\" stroke-width=\"2\"/>\
                 <circle cx=\"{to_x:.1}\" cy=\"{to_y:.1}\" r=\"9\" fill=\"none\" \
                 stroke=\"#1f2429\" stroke-width=\"2\"/>",
                x - 7.0,
                y - 7.0
            ));
        }
    }
}

/// A panel's frame, grid and labels.
fn frame(svg: &mut String, panel: &Panel, (under, beside): (&str, &str), step: f64) {
    let (left, bottom) = (panel.left, TOP + PANEL);
    let _ = writeln!(
        svg,
        "<rect x=\"{left}\" y=\"{TOP}\" width=\"{PANEL}\" height=\"{PANEL}\" fill=\"#ffffff\" \
         stroke=\"#d9d5cc\"/>"
    );
    let label = |x: f64, y: f64, anchor: &str, words: &str| {
        format!(
            "<text x=\"{x:.1}\" y=\"{y:.1}\" {FONT} font-size=\"12\" fill=\"#5c636b\" \
             text-anchor=\"{anchor}\">{words}</text>\n"
        )
    };
    let ticks = |(from, to): (f64, f64)| {
        let count = ((to - from) / step + 1e-9).floor() as usize;
        (0..=count).map(move |i| from + step * i as f64)
    };
    for v in ticks(panel.x) {
        let (x, _) = panel.at(v, panel.y.0);
        let _ = writeln!(
            svg,
            "<line x1=\"{x:.1}\" y1=\"{TOP}\" x2=\"{x:.1}\" y2=\"{bottom}\" stroke=\"#eceae4\"/>"
        );
        svg.push_str(&label(x, bottom + 18.0, "middle", &format!("{v:.0}")));
    }
    for v in ticks(panel.y) {
        let (_, y) = panel.at(panel.x.0, v);
        let right = left + PANEL;
        let _ = writeln!(
            svg,
            "<line x1=\"{left}\" y1=\"{y:.1}\" x2=\"{right}\" y2=\"{y:.1}\" stroke=\"#eceae4\"/>"
        );
        svg.push_str(&label(left - 8.0, y + 4.0, "end", &format!("{v:.0}")));
    }
    svg.push_str(&label(left + PANEL / 2.0, bottom + 42.0, "middle", under));
    svg.push_str(&label(left, TOP - 10.0, "start", beside));
}

fn srgb(lab: Lab) -> Srgb {
    lab.to_xyz().to_srgb()
}
