//! `tintfall demo`.

use std::path::{Path, PathBuf};

use demo_models::{Demo, recipe, toolpath};
use package::{FILES, PrepareError, prepare};
use plan::Plan;
use project::cautions;
use project::job::Job;
use project::write::{self, Folder};

use super::prepare::not_opened;
use crate::console::Console;
use crate::fault::Fault;

/// Write four example parts with their plans, and prepare each of them
#[derive(clap::Args)]
#[command(after_help = "\
The parts are invented: a small harbour museum prints them for its shop.")]
pub(crate) struct Args {
    /// The folder to write into
    #[arg(long, value_name = "DIR", default_value = "tintfall-demo")]
    out: PathBuf,
}

impl Args {
    /// Writes and prepares the parts.
    pub(crate) fn run(self, console: &Console) -> Result<(), Fault> {
        let demos = demo_models::all().map_err(Fault::system)?;
        write_parts(&self.out, &demos)?;
        for demo in &demos {
            console.note(&format!("Preparing {}", demo.name));
            console.working(|progress| -> Result<(), Fault> {
                let plan = self.out.join(plan_name(demo));
                let job = Job::open(&plan, progress).map_err(not_opened)?;
                prepare(&job, &self.out.join(demo.name), progress).map_err(
                    |error| match error {
                        PrepareError::Cancelled(_) => Fault::Cancelled,
                        error => Fault::system(error),
                    },
                )?;
                Ok(())
            })?;
        }
        let text = told(&self.out, &demos);
        write::bytes(&self.out.join("START-HERE.txt"), text.as_bytes())?;
        console.out(&text)
    }
}

/// The meshes and plans, and a toolpath of each mesh.
fn write_parts(folder: &Path, demos: &[Demo]) -> Result<(), Fault> {
    let mut set = Folder::new(folder)?;
    for demo in demos {
        set.file(&mesh_name(demo), |out| {
            out.write_all(&geometry::read::mesh_to_stl(&demo.mesh))
        })?;
        set.bytes(&plan_name(demo), demo.plan_ron.as_bytes())?;
        let plan = Plan::from_ron(demo.plan_ron).map_err(Fault::system)?;
        set.file(&toolpath_name(demo), |out| {
            toolpath(&demo.mesh, &plan.layers, &recipe(demo.walls), out).map(drop)
        })?;
    }
    set.commit()?;
    Ok(())
}

fn toolpath_name(demo: &Demo) -> String {
    format!("{}.gcode", demo.name)
}

fn mesh_name(demo: &Demo) -> String {
    format!("{}.stl", demo.name)
}

fn plan_name(demo: &Demo) -> String {
    format!("{}.plan.ron", demo.name)
}

/// What each file is, and what to do with it.
fn told(folder: &Path, demos: &[Demo]) -> String {
    let mut text = format!(
        "Four parts for the harbour museum's shop, in {}\n",
        folder.display()
    );
    for demo in demos {
        let (mesh, plan, name) = (mesh_name(demo), plan_name(demo), demo.name);
        text.push_str(&format!("\n{}: {}\n", demo.title, demo.about));
        text.push_str(&format!("  {mesh:28}the part\n"));
        text.push_str(&format!("  {plan:28}its plan; edit it in a text editor\n"));
        let sliced = toolpath_name(demo);
        text.push_str(&format!(
            "  {sliced:28}a toolpath to try weaving with; not for a printer\n"
        ));
        for (file, what) in FILES {
            let file = format!("{name}/{file}");
            text.push_str(&format!("  {file:28}{what}\n"));
        }
    }
    let weave = demos.first().map(|demo| {
        let path = |name: String| folder.join(name).display().to_string();
        let (plan, sliced) = (path(plan_name(demo)), path(toolpath_name(demo)));
        let woven = path(format!("{}-woven.gcode", demo.name));
        format!(
            "Weave a plan into a toolpath and check it:\n  \
             tintfall weave {plan} {sliced} --out {woven}\n  \
             tintfall verify {plan} {woven} --before {sliced}\n"
        )
    });
    let weave = weave.unwrap_or_default();
    let first = demos.first().map(plan_name).unwrap_or_default();
    let path = folder.join(first);
    let path = path.display();
    text.push_str(&format!(
        "\n\
         Look at a sheet first: open one of the sheet.png files.\n\
         Open a plan in the window:    tintfall view {path}\n\
         Change a plan and prepare it: tintfall prepare {path} --out changed\n\
         {weave}In the source folder, write `cargo run --release --` instead of `tintfall`. Build \
         the\n\
         window once with `cargo build --release -p tintfall-viewer`.\n\
         \n\
         Before you print\n"
    ));
    for caution in cautions::SHORT {
        text.push_str(&format!("  - {caution}\n"));
    }
    text
}
