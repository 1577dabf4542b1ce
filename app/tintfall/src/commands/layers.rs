//! `tintfall layers`.

use geometry::LayerPlan;
use geometry::inspect::sealed_facets;
use geometry::layers::{self, CutError, Layer};
use serde::Serialize;

use crate::console::Console;
use crate::fault::Fault;
use crate::part::PartArgs;

/// Cut a part into layers and list their areas and volumes
#[derive(clap::Args)]
#[command(after_help = "\
Example:
  tintfall layers cup.stl --first 0.3 --layer 0.2 --json > cup-layers.json

Area and perimeter are of the outline at the layer's middle height. Volume and skin are exact
between the layer's bottom and top, the skin without sealed cavities. Where shells overlap or the
mesh is open, volume is summed from outlines.")]
pub(crate) struct Args {
    #[command(flatten)]
    part: PartArgs,
    /// Height of the first layer, mm
    #[arg(long, value_name = "MM", default_value_t = 0.2)]
    first: f64,
    /// Height of the layers above it, mm
    #[arg(long, value_name = "MM", default_value_t = 0.2)]
    layer: f64,
    /// Write JSON instead of a table
    #[arg(long)]
    json: bool,
}

/// One layer, for output.
#[derive(Serialize)]
struct Row {
    bottom_mm: f64,
    top_mm: f64,
    contours: usize,
    area_mm2: f64,
    perimeter_mm: f64,
    volume_mm3: f64,
    skin_mm2: f64,
    open_ends: u32,
    overlaps: bool,
}

#[derive(Serialize)]
struct Table {
    layers: Vec<Row>,
}

impl Args {
    /// Lists the layers.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let plan = LayerPlan::plain(self.first, self.layer);
        let layers = console.working(|progress| {
            let part = self.part.read(progress)?;
            let sealed = sealed_facets(&part.mesh);
            layers::cut_seen(&part.mesh, &sealed, &plan, progress).map_err(|error| match error {
                CutError::Cancelled(_) => Fault::Cancelled,
                error => Fault::Input(format!("{}: {error}", self.part.mesh.display())),
            })
        })?;
        let table = Table {
            layers: layers.iter().map(row).collect(),
        };
        match self.json {
            true => {
                let text = serde_json::to_string_pretty(&table).map_err(Fault::system)?;
                console.out(&format!("{text}\n"))
            }
            false => console.out(&in_columns(&table)),
        }
    }
}

fn row(layer: &Layer) -> Row {
    Row {
        bottom_mm: layer.span.bottom_mm,
        top_mm: layer.span.top_mm,
        contours: layer.contours.len(),
        area_mm2: layer.area_mm2,
        perimeter_mm: layer.perimeter_mm,
        volume_mm3: layer.volume_mm3,
        skin_mm2: layer.skin_mm2,
        open_ends: layer.open_ends,
        overlaps: layer.overlaps,
    }
}

fn in_columns(table: &Table) -> String {
    let mut text = format!(
        "{:>6} {:>9} {:>9} {:>9} {:>12} {:>12} {:>12} {:>12}\n",
        "layer",
        "bottom mm",
        "top mm",
        "outlines",
        "area mm²",
        "outline mm",
        "volume mm³",
        "skin mm²"
    );
    for (i, row) in table.layers.iter().enumerate() {
        text.push_str(&format!(
            "{:>6} {:>9.3} {:>9.3} {:>9} {:>12.3} {:>12.3} {:>12.3} {:>12.3}{}\n",
            i + 1,
            row.bottom_mm,
            row.top_mm,
            row.contours,
            row.area_mm2,
            row.perimeter_mm,
            row.volume_mm3,
            row.skin_mm2,
            match (row.open_ends, row.overlaps) {
                (0, false) => "",
                (0, true) =>
                    "  shells overlap or face inwards here: their common volume counts \
                              once",
                _ => "  open: the mesh has a hole here",
            }
        ));
    }
    text
}
