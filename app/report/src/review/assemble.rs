//! The page put together from its parts.

use geometry::{Cancelled, Progress};
use project::cautions;
use project::signoff::{Decision, State};
use render::{Background, Camera, Frame, Render, View};

use super::html::{data_uri, list};
use super::page::Page;
use super::{came_out, ribbon, shape, tables};
use crate::markup::escaped;
use crate::patches::LayerColours;
use crate::sheet::Facts;
use crate::skin_colours::printed_colours;

const STYLE: &str = include_str!("page.css");
const PROGRAM: &str = include_str!("page.js");
const VERTEX: &str = include_str!("vertex.glsl");
const FRAGMENT: &str = include_str!("fragment.glsl");

/// Pixels of a still picture.
const STILL: u32 = 560;

impl Page<'_> {
    /// The page as HTML.
    ///
    /// # Errors
    /// [`Cancelled`] when cancelled.
    pub fn html(&self, progress: &Progress) -> Result<String, Cancelled> {
        let painted = &self.job.painted;
        progress.stage("Laying colours on the review page");
        let patches = self.patches;
        let colours = LayerColours::new(painted, self.schedule, self.printed, &patches.classes);
        let shape = shape::Shape::new(patches, &colours, self.schedule);
        progress.stage("Drawing the review page");
        let stills = self.stills(progress)?;
        let facts = Facts::of(painted, self.schedule, self.printed, &self.job.told());
        let title = &facts.title;
        let mut page = format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; \
             img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
             base-uri 'none'; form-action 'none'\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <title>{} – review</title>\n<style>\n{STYLE}{}</style>\n</head>\n<body>\n\
             <a class=\"skip\" href=\"#regions\">Skip the pictures</a>\n\
             <header>\n<h1>{}</h1>\n<p class=\"soft\">{}</p>\n{}</header>\n<main>\n",
            escaped(title),
            came_out::style(self.records),
            escaped(title),
            escaped(&facts.subtitle),
            self.banner()
        );
        page.push_str(&looks(&stills));
        page.push_str(&format!(
            "<div class=\"ribbon\">\n<h2>By height</h2>\n{}</div>\n</section>\n",
            ribbon::figure(&facts, self.schedule, self.printed)
        ));
        page.push_str(&self.changed());
        page.push_str(&tables::regions(self, &facts));
        page.push_str(&tables::as_printed(self));
        page.push_str(&came_out::section(self.records));
        page.push_str(&tables::spools(self, &facts));
        page.push_str(&tables::waste(self));
        page.push_str(
            "<section aria-labelledby=\"warnings\">\n<h2 id=\"warnings\">What to know \
                       about this part</h2>\n",
        );
        page.push_str(&match facts.warnings.is_empty() {
            true => "<p>No warnings.</p>\n".to_owned(),
            false => list("warn", facts.warnings.iter().map(|w| escaped(w))),
        });
        page.push_str("</section>\n");
        page.push_str(&tables::watch(self));
        page.push_str("<section aria-labelledby=\"care\">\n<h2 id=\"care\">Take care</h2>\n");
        let all = cautions::ALL
            .iter()
            .map(|c| format!("<strong>{}.</strong> {}", escaped(c.about), escaped(c.text)));
        page.push_str(&list("", all));
        page.push_str("</section>\n");
        page.push_str(&tables::sources(self, &facts));
        page.push_str("</main>\n");
        page.push_str(&shape.data());
        page.push_str(&format!(
            "<script type=\"x-shader/x-vertex\" id=\"vertex-shader\">{VERTEX}</script>\n\
             <script type=\"x-shader/x-fragment\" id=\"fragment-shader\">{FRAGMENT}</script>\n\
             <script>\n{PROGRAM}</script>\n</body>\n</html>\n"
        ));
        Ok(page)
    }

    fn banner(&self) -> String {
        let standing = self.standing;
        let class = match standing.state {
            State::Approved => "good",
            _ => "bad",
        };
        let note = match &standing.signed {
            Some(signed) if !signed.note.is_empty() => format!(
                "<p>{}: “{}”</p>",
                escaped(&signed.name),
                escaped(&signed.note)
            ),
            _ => String::new(),
        };
        format!(
            "<div class=\"banner {class}\" role=\"status\">{}{note}</div>\n",
            escaped(&standing.words())
        )
    }

    fn changed(&self) -> String {
        let what = match (self.changes, &self.standing.signed) {
            (None, None) => "<p>The plan has not been signed before.</p>\n".to_owned(),
            (None, Some(_)) => {
                "<p>The signed version of the plan is not available.</p>\n".to_owned()
            }
            (Some([]), _) => "<p>No change to the plan's content.</p>\n".to_owned(),
            (Some(changes), _) => list(
                "",
                changes.iter().map(|c| {
                    format!(
                        "<strong>{}:</strong> {}",
                        escaped(&c.about),
                        escaped(&c.what)
                    )
                }),
            ),
        };
        let whom = match &self.standing.signed {
            Some(signed) => {
                let did = match signed.decision {
                    Decision::Approved => "approved it",
                    Decision::SentBack => "sent it back",
                };
                let (name, at) = (escaped(&signed.name), escaped(&signed.at));
                format!("<p class=\"soft small\">{name} {did} at {at}.</p>\n")
            }
            None => String::new(),
        };
        format!(
            "<section aria-labelledby=\"changes\">\n<h2 id=\"changes\">Changes since it was last \
             signed</h2>\n{whom}{what}</section>\n"
        )
    }

    /// Two pictures in the colours that will come out.
    fn stills(&self, progress: &Progress) -> Result<Vec<(View, String)>, Cancelled> {
        let painted = &self.job.painted;
        let surface = painted.surface();
        let colour = printed_colours(painted, self.schedule, self.printed);
        let mut stills = Vec::new();
        for view in [View::FrontRight, View::BackLeft] {
            let frame = Frame {
                width: f64::from(STILL),
                height: f64::from(STILL),
                margin: f64::from(STILL) * 0.06,
            };
            let camera = Camera::fitted(view, surface.mesh(), frame);
            let render = Render {
                width_px: STILL,
                height_px: STILL,
                background: Background::Paper([1.0; 3]),
                ..Render::of(camera)
            };
            stills.push((view, data_uri(&render.run(self.stage, &colour, progress)?)));
        }
        Ok(stills)
    }
}

/// The view with its buttons, and the still pictures.
fn looks(stills: &[(View, String)]) -> String {
    let button = |kind: &str, value: &str, words: &str| {
        format!("<button type=\"button\" data-{kind}=\"{value}\">{words}</button>\n")
    };
    let shows: String = [
        ("printed", "As printed"),
        ("asked", "As requested"),
        ("off", "Difference"),
    ]
    .map(|(value, words)| button("show", value, words))
    .concat();
    let sees: String = ["front right", "front", "right", "back", "left", "top"]
        .map(|name| {
            let mut words = name.to_owned();
            if let Some(first) = words.get_mut(..1) {
                first.make_ascii_uppercase();
            }
            button("see", name, &words)
        })
        .concat();
    let acts: String = [
        ("left", "Turn left"),
        ("right", "Turn right"),
        ("up", "From higher"),
        ("down", "From lower"),
        ("in", "Nearer"),
        ("out", "Farther"),
    ]
    .map(|(value, words)| button("act", value, words))
    .concat();
    let stills: String = stills
        .iter()
        .map(|(view, uri)| {
            let title = view.title();
            format!(
                "<figure><img src=\"{uri}\" width=\"{STILL}\" height=\"{STILL}\" alt=\"The part in \
                 its colours as printed. {title}.\"><figcaption>{title}, as \
                 printed</figcaption></figure>\n"
            )
        })
        .collect();
    format!(
        "<section class=\"looks\" aria-label=\"Pictures\">\n\
         <div>\n\
         <h2>The part</h2>\n\
         <div class=\"stage\">\n\
         <canvas id=\"part\" tabindex=\"0\" role=\"img\" aria-label=\"The part in its predicted \
         colours; you can turn it\" aria-describedby=\"keys says\"></canvas>\n\
         <div class=\"bar\" role=\"group\" aria-label=\"What is shown\">{shows}<span \
         id=\"off-scale\" class=\"small\" hidden>ΔE00 0<span class=\"scale\" \
         style=\"background:linear-gradient(90deg,#e4e2dd,#f6be54,#ce4c1a,#5e0a1e)\"></span>10 and \
         more</span></div>\n\
         <div class=\"bar\" role=\"group\" aria-label=\"From where\">{sees}</div>\n\
         <div class=\"bar\" role=\"group\" aria-label=\"Turn and zoom\">{acts}</div>\n\
         </div>\n\
         <p id=\"says\" class=\"small screen\" role=\"status\"></p>\n\
         <p id=\"keys\" class=\"small soft screen\">Drag to turn, use the wheel to zoom. With the \
         view in focus: arrow keys turn, + and − zoom, Home resets the view, 1 to 3 change what is \
         shown.</p>\n\
         <div class=\"stills\">\n\
         {stills}</div>\n\
         </div>\n"
    )
}
