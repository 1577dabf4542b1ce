//! The command `tintfall-viewer`: opens the window, takes a picture, or measures.

use std::path::PathBuf;
use std::process::ExitCode;

use bevy::app::AppExit;
use clap::Parser;
use tintfall_viewer::files::Home;
use tintfall_viewer::files::settings::Appearance;
use tintfall_viewer::scene::app::{Canvas, windowed};
use tintfall_viewer::scene::{measure, picture, places};
use tintfall_viewer::session::Session;

/// Paint bands and regions on a part and see the colour fall.
#[derive(Debug, Parser)]
#[command(version, about)]
struct Options {
    /// A mesh (STL, OBJ, PLY, OFF, 3MF, glTF) or a plan (.plan.ron) to open.
    file: Option<PathBuf>,
    /// Open a demonstration part by its name.
    #[arg(long, value_name = "NAME", conflicts_with = "file")]
    demo: Option<String>,
    /// Take the spools from a file, or fit them to the readings of a test print (.csv).
    #[arg(long, value_name = "FILE")]
    spools: Option<PathBuf>,
    /// Size of the window or the picture, pixels.
    #[arg(long, value_name = "WxH", default_value = "1280x800", value_parser = size)]
    size: (u32, u32),
    /// Write one picture of the window's contents and leave; needs no display.
    #[arg(long, value_name = "FILE.png")]
    picture: Option<PathBuf>,
    /// Keep a file that tells where everything on the window is, by name: for scripts.
    #[arg(long, value_name = "FILE.json")]
    places: Option<PathBuf>,
    /// Pixels per point in a picture: 2 as on a screen of high density.
    #[arg(long, default_value_t = 1.0)]
    scale: f32,
    /// What a picture shows.
    #[arg(long, default_value = "plain", requires = "picture")]
    show: picture::Scene,
    /// Draw the picture in dark.
    #[arg(long, requires = "picture")]
    dark: bool,
    /// Leave the panels out of the picture.
    #[arg(long, requires = "picture")]
    bare: bool,
    /// Leave the panels, the ground and the plate out of the picture.
    #[arg(long, requires = "picture")]
    transparent: bool,
    /// Measure frame times on meshes of so many thousand triangles (10, 100 and 1000 if left
    /// out) and print a table; needs no display.
    #[arg(long, value_name = "THOUSANDS", num_args = 0.., default_missing_values = ["10", "100", "1000"])]
    measure: Option<Vec<u32>>,
}

fn size(text: &str) -> Result<(u32, u32), String> {
    let wrong = || format!("'{text}' is not a size; write it like 1280x800");
    let (width, height) = text.split_once('x').ok_or_else(wrong)?;
    let number = |t: &str| t.parse().ok().filter(|n| (64..=8192).contains(n));
    number(width).zip(number(height)).ok_or_else(wrong)
}

fn main() -> ExitCode {
    let options = Options::parse();
    let canvas = Canvas {
        width: options.size.0,
        height: options.size.1,
        scale: options.scale,
    };
    let exit = if let Some(thousands) = &options.measure {
        measure::run(thousands, canvas)
    } else if let Some(file) = &options.picture {
        // A picture must not depend on what this person has set.
        let mut session = Session::new(None);
        if options.dark {
            session.settings.appearance = Appearance::Dark;
        }
        open(&mut session, &options);
        let bare = picture::Bare {
            panels: options.bare || options.transparent,
            ground: options.transparent,
        };
        picture::take(session, (options.show, bare), canvas, file.clone())
    } else {
        let mut session = Session::new(Home::find());
        open(&mut session, &options);
        let mut app = windowed(session, canvas);
        if let Some(file) = options.places {
            places::write_to(&mut app, file);
        }
        app.run()
    };
    match exit {
        AppExit::Success => ExitCode::SUCCESS,
        AppExit::Error(code) => ExitCode::from(code.get()),
    }
}

fn open(session: &mut Session, options: &Options) {
    session.spools_wanted.clone_from(&options.spools);
    if let Some(file) = &options.file {
        session.open(file);
    } else if let Some(name) = &options.demo {
        session.open_demo(name);
    }
}
