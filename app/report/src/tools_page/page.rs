//! The page: what to store, how, and what it costs.

use bodies::Bodies;
use plan::schedule::Provenance;
use render::Image;

use crate::markup::escaped;
use crate::review::html::{Cell, data_uri, facts, list, swatch, table};

/// Lines that store the blends, as the user's dialect says them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lines {
    /// Name of the dialect.
    pub dialect: String,
    /// What to do with the lines.
    pub what: String,
    /// The lines.
    pub text: String,
    /// What selects each tool, in order of the bodies.
    pub numbers: Vec<String>,
}

/// What the page is made from.
pub struct ToolsPage<'a> {
    /// The bodies.
    pub bodies: &'a Bodies,
    /// What they were made from.
    pub from: &'a Provenance,
    /// How the blends are stored.
    pub lines: &'a Lines,
    /// The bodies drawn apart, if there is a picture.
    pub picture: Option<&'a Image>,
    /// What the same plan flushes when blend commands go along with a toolpath, g.
    pub woven_waste_g: Option<f64>,
    /// Names of the files of the bodies, in their order.
    pub files: &'a [String],
    /// What to take care of.
    pub cautions: &'a [&'a str],
}

impl ToolsPage<'_> {
    /// The page as HTML in one file.
    pub fn html(&self) -> String {
        let title = match self.from.title.trim() {
            "" => &self.from.mesh_file,
            title => title,
        };
        let mut page = format!(
            "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta \
             name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>Tools for \
             {title}</title>\n<style>{css}</style>\n</head>\n<body>\n<h1>Tools for {title}</h1>\n\
             <p>{review}</p>\n",
            title = escaped(title),
            css = include_str!("../review/page.css"),
            review = escaped(&self.from.review)
        );
        page.push_str(
            "<p>Store these blends once. Load the bodies as one part in the print step, and give \
             each body its tool.</p>\n",
        );
        if let Some(picture) = self.picture {
            page.push_str(&format!(
                "<figure><img style=\"max-width:100%\" alt=\"The bodies apart from each other\" \
                 src=\"{}\"><figcaption>The bodies apart from each other. The files have them in \
                 place.</figcaption></figure>\n",
                data_uri(picture)
            ));
        }
        page.push_str(&self.tools());
        page.push_str(&self.stored());
        page.push_str(&self.purge());
        page.push_str(&self.known());
        page.push_str("</body>\n</html>\n");
        page
    }

    fn tools(&self) -> String {
        let bodies = &self.bodies.bodies;
        let rows = bodies.iter().enumerate().map(|(i, body)| {
            let number = self.lines.numbers.get(i).cloned().unwrap_or_default();
            vec![
                Cell::Text(number),
                Cell::Text(body.name.clone()),
                Cell::Html(format!(
                    "{} {}",
                    swatch(&[body.colour], &body.colour.to_string()),
                    escaped(&body.colour.to_string())
                )),
                Cell::Text(format!("{} %", body.shares)),
                Cell::Number(format!("{:.1} g", body.mass_g)),
                Cell::Number(format!("{:.0} mm²", body.visible_mm2)),
                Cell::Text(self.files.get(i).cloned().unwrap_or_default()),
            ]
        });
        let spools: Vec<&str> = self.spool_names();
        let heads = [
            ("Tool", false),
            ("Name", false),
            ("Colour, predicted", false),
            ("Shares", false),
            ("Mass, if solid", true),
            ("Visible", true),
            ("File", false),
        ];
        let fit = self.bodies.fit;
        let depth = match self.bodies.depth_mm {
            Some(depth_mm) => format!("{depth_mm} mm"),
            None => "as deep as the part is".to_owned(),
        };
        format!(
            "<h2>Tools to store</h2>\n{}{}",
            table(
                "Shares of the spools, in their order",
                &heads,
                rows.collect()
            ),
            facts(&[
                ("Spools", spools.join(", ")),
                (
                    "Off the requested colours",
                    format!(
                        "mean ΔE00 {:.1}; 95 % of the area within {:.1}",
                        fit.mean_de00, fit.p95_de00
                    )
                ),
                ("Painted areas reach", depth),
                (
                    "Tools",
                    format!("{} of at most {}", bodies.len(), self.bodies.most_tools)
                ),
            ])
        )
    }

    fn spool_names(&self) -> Vec<&str> {
        self.bodies.spools.iter().map(String::as_str).collect()
    }

    fn stored(&self) -> String {
        format!(
            "<h2>Lines to store them</h2>\n<p>{}</p>\n<pre class=\"code\">{}</pre>\n<p \
             class=\"soft small\">Dialect: {}. Check each line in your firmware's manual before \
             you print.</p>\n",
            escaped(&self.lines.what),
            self.lines
                .text
                .lines()
                .map(escaped)
                .collect::<Vec<_>>()
                .join("\n"),
            escaped(&self.lines.dialect)
        )
    }

    fn purge(&self) -> String {
        let purge = &self.bodies.purge;
        let numbers = &self.lines.numbers;
        let heads: Vec<(&str, bool)> = [("From, to", false)]
            .into_iter()
            .chain(numbers.iter().map(|n| (n.as_str(), true)))
            .collect();
        let rows = purge.flush_mm3.iter().zip(numbers).enumerate();
        let rows = rows.map(|(from, (row, number))| {
            let cells = row.iter().enumerate().map(|(to, volume)| match from == to {
                true => Cell::Number("–".to_owned()),
                false => Cell::Number(format!("{volume:.0} mm³")),
            });
            [Cell::Text(number.clone())]
                .into_iter()
                .chain(cells)
                .collect()
        });
        let layers = purge.changes.iter().filter(|c| **c > 0).count();
        let woven = match self.woven_waste_g {
            Some(mass_g) => format!("{mass_g:.1} g, changes sent ahead"),
            None => "not reckoned".to_owned(),
        };
        format!(
            "<h2>What is purged</h2>\n{}{}<p class=\"soft small\">Calculated from the machine \
             file's melt chamber: its dead volume, and the plastic until the new blend is within \
             ΔE00 {}. In each layer, the tool with the least purge comes next. A print step may \
             use another order, or build its tower in layers without a change.</p>\n",
            table(
                "Flush from one tool (row) to another (column)",
                &heads,
                rows.collect()
            ),
            facts(&[
                (
                    "Changes of tool",
                    format!(
                        "{} in {layers} layers, at most {} in one",
                        purge.all_changes(),
                        purge.most_changes()
                    )
                ),
                (
                    "A tower takes",
                    format!("{:.1} g ({:.0} mm³)", purge.mass_g, purge.volume_mm3)
                ),
                ("With blend commands along a toolpath", woven),
            ]),
            purge.allowed_de00
        )
    }

    fn known(&self) -> String {
        let mut text = String::new();
        if !self.bodies.notes.is_empty() {
            text.push_str("<h2>About these bodies</h2>\n");
            text.push_str(&list("warn", self.bodies.notes.iter().map(|n| escaped(n))));
        }
        text.push_str("<h2>Before you print</h2>\n");
        text.push_str(&list("", self.cautions.iter().map(|c| escaped(c))));
        let from = self.from;
        text.push_str(&format!(
            "<p class=\"code\">Plan SHA-256 {}<br>Mesh SHA-256 {}<br>{}</p>\n",
            escaped(&from.plan_sha256),
            escaped(&from.mesh_sha256),
            escaped(&from.made_by)
        ));
        text
    }
}
