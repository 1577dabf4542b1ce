//! The part of `tintfall new` that gives a part its model's own colours.

use std::path::Path;

use clap::ValueEnum;
use colours::{Choice, ChoiceError, ColoursError, Counted, Model, Sampled, choose};
use geometry::mask::Nearness;
use geometry::pieces::Finest;
use plan::Plan;
use project::models::{model_file, piece_mm};

use super::chosen::{self, Number, Report, number};
use crate::console::Console;
use crate::fault::Fault;
use crate::part::{Part, from_folder_of};

/// The arguments on a model's own colours.
#[derive(clap::Args)]
pub(super) struct ColourArgs {
    /// Give the part its model's own colours in so many blends; auto takes the first number after
    /// which no further blend is worth half a ΔE00 of the mean
    #[arg(long, value_name = "N", value_parser = number)]
    colours: Option<Number>,
    /// What counts where the spools can't make a colour: the blend of least difference, or one
    /// that is as light
    #[arg(long, value_enum, default_value = "difference", requires = "colours")]
    nearest: NearestBy,
    /// The finest detail that stays, mm; by default as wide as a line and as high as a layer
    #[arg(long, value_name = "MM", value_parser = length_mm, requires = "colours")]
    detail: Option<f64>,
    /// Write the table as JSON instead of text
    #[arg(long, requires = "colours")]
    json: bool,
}

pub(super) fn length_mm(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(mm) if mm.is_finite() && mm > 0.0 => Ok(mm),
        _ => Err("give a length in mm above 0, such as 0.8".to_owned()),
    }
}

/// What counts where a colour can't be made.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum NearestBy {
    /// The least CIEDE2000 difference
    Difference,
    /// Lightness first: CIEDE2000 with kC = kH = 5
    Lightness,
}

impl ColourArgs {
    /// Whether the model's own colours are asked for.
    pub(super) fn are_asked(&self) -> bool {
        self.colours.is_some()
    }

    /// Chooses blends, and makes the plan's regions of them.
    pub(super) fn choose(
        &self,
        console: &Console,
        mesh: &Path,
        path: &Path,
        model: Option<Model>,
        part: &Part,
        plan: &mut Plan,
    ) -> Result<Choice, Fault> {
        let of_mesh =
            |why: &dyn std::fmt::Display| Fault::Input(format!("{}: {why}", mesh.display()));
        let model = model.ok_or_else(|| of_mesh(&ColoursError::None))?;
        let most = self.number().rows();
        let finest = self.finest(plan);
        let choice = console.working(|progress| -> Result<_, Fault> {
            let sampled = Sampled::new(&model, piece_mm(finest.width_mm), progress)?;
            let counted = Counted::new(&sampled);
            let how = (self.nearest.into(), finest);
            choose(&sampled, &counted, plan, how, most, progress).map_err(|error| match error {
                ChoiceError::Cancelled(_) => Fault::Cancelled,
                error => of_mesh(&error),
            })
        })?;
        let named = from_folder_of(path, mesh)?;
        let file =
            model_file(mesh, named, &part.reading.side_files).map_err(|why| of_mesh(&why))?;
        plan.regions = choice
            .regions(self.count(&choice), &file)
            .unwrap_or_default();
        Ok(choice)
    }

    fn finest(&self, plan: &Plan) -> Finest {
        let (line_mm, layer_mm) = (plan.filling.line_width_mm, plan.layers.layer_mm);
        let detail_mm = self.detail.unwrap_or(0.0);
        Finest {
            width_mm: line_mm.max(detail_mm),
            height_mm: layer_mm.max(detail_mm),
        }
    }

    /// How many blends are taken.
    fn count(&self, choice: &Choice) -> usize {
        self.number().taken(choice.most(), choice.recommended)
    }

    fn number(&self) -> Number {
        self.colours.unwrap_or(Number::Auto)
    }

    /// Tells what was chosen.
    pub(super) fn tell(
        &self,
        console: &Console,
        choice: &Choice,
        plan: &Plan,
        path: &Path,
    ) -> Result<(), Fault> {
        let regions = chosen::regions_of(&plan.regions, plan.model().as_ref());
        if self.json {
            let report = Report {
                plan: path.display().to_string(),
                blends: self.count(choice),
                recommended: choice.recommended,
                rows: &choice.rows,
                regions,
            };
            return report.write(console);
        }
        if let Number::Of(asked) = self.number()
            && asked > choice.most()
        {
            console.note(&format!(
                "{asked} blends are no better than {}: the plan has {0}.",
                choice.most()
            ));
        }
        let mut text = self.table(choice);
        text.push_str(&chosen::lines_of(&regions));
        let path = path.display();
        text.push_str(&format!(
            "\nWrote {path}\nEdit it, then run\n  tintfall prepare {path} --out colours\n"
        ));
        console.out(&text)
    }

    fn table(&self, choice: &Choice) -> String {
        let mut text =
            String::from("  Blends  Mean ΔE00  without fine details  Changes a layer    Purge\n");
        let taken = self.count(choice);
        for row in &choice.rows {
            let mark = chosen::mark(row.blends, taken, choice.recommended);
            text.push_str(&format!(
                "  {:>6}  {:>9.2}  {:>20.2}  {:>15.1}  {:>7.1} g  {:>6.0} min  {}\n",
                row.blends,
                row.mean_de00,
                row.smoothed_de00,
                row.changes_per_layer,
                row.purge_g,
                row.purge_minutes,
                mark,
            ));
        }
        if choice.uncoloured() > 0.0 {
            text.push_str(&format!(
                "  {:.1} % of the area has no colour in the file; it gets the first blend.\n",
                100.0 * choice.uncoloured()
            ));
        }
        text.push('\n');
        text
    }
}

impl From<NearestBy> for Nearness {
    fn from(by: NearestBy) -> Self {
        match by {
            NearestBy::Difference => Self::Difference,
            NearestBy::Lightness => Self::Lightness,
        }
    }
}
