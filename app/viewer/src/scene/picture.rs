//! One picture of the window's contents, drawn without a window, for documents and checks.

use std::path::PathBuf;

use bevy::app::AppExit;
use bevy::prelude::*;
use bevy::render::view::screenshot::{Screenshot, ScreenshotCaptured};
use bevy_egui::input::EguiInputEvent;
use bevy_egui::{PrimaryEguiContext, egui};
use clap::ValueEnum;
use photograph::laid::Frame;
use plan::Paint;

use super::app::{Canvas, Drawn, windowless};
use super::desk::{Compiling, Desk};
use super::upload::Uploads;
use crate::commands::{Command, Cutting};
use crate::jobs::view_copy::{Pixels, png_bytes};
use crate::model::errand::Errand;
use crate::model::finished_form::FinishedForm;
use crate::model::page::{Drawer, SidePanel};
use crate::model::photo_form::PhotoForm;
use crate::model::section::Across;
use crate::model::tool::{FillBy, Tool};
use crate::model::view::Look;
use crate::model::view_copy::{Size, To, ViewCopy};
use crate::session::Session;

/// Frames without any work before the picture is taken: egui settles its sizes.
const SETTLED_FRAMES: u32 = 12;

/// The most frames waited for.
const MOST_FRAMES: u32 = 20_000;

/// What a picture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Scene {
    /// What is there when a file has been opened.
    Plain,
    /// A region with a fade, and one of its stops.
    Fade,
    /// The part seen from above, the pointer on it.
    Tilted,
    /// A stroke being painted.
    Brush,
    /// A lasso being drawn.
    Lasso,
    /// What a fill by flatness would cover, under the pointer.
    Fill,
    /// A picture or letters with their frame, if the last region is such.
    Placing,
    /// The part cut open.
    Inside,
    /// The part cut open across x.
    Across,
    /// The page for a picture of the view.
    ViewCopy,
    /// Drawer and ribbon folded.
    Folded,
    /// The colours as printed.
    Printed,
    /// The map of differences.
    Difference,
    /// The spools.
    Spools,
    /// The part's figures.
    Part,
    /// The checks.
    Checks,
    /// The page of keys.
    Keys,
    /// The help page.
    Help,
    /// Saving.
    Save,
    /// Preparing.
    Prepare,
    /// A plan woven into the toolpath beside it, and read back.
    Weave,
    /// The purge block that weaving would add, before anything is written.
    Block,
    /// Ways to weave it, compared.
    Ways,
    /// The steps of the whole job, one of them done.
    Job,
    /// photograph.jpg in the folder that the window is started in, read by swatch/swatch.plan.ron.
    Photograph,
    /// The same with a frame that does not agree with it.
    Frame,
    /// The open plan's finished part, by finished.jpg in the folder that the window is started in,
    /// and by finished-2.jpg if that is there.
    Finished,
    /// The same: the part's views from the camera's place.
    Views,
    /// The same: the cause that its colours tell.
    Traced,
    /// The strands of a woven toolpath, followed.
    Follow,
    /// An error.
    Error,
}

/// What a picture leaves out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Bare {
    /// The panels.
    pub panels: bool,
    /// The ground, too.
    pub ground: bool,
}

#[derive(Resource)]
struct Wanted {
    file: PathBuf,
    bare: Bare,
    scene: Scene,
    fitted: bool,
    arranged: bool,
    settled: u32,
    frames: u32,
    asked: bool,
}

/// Draws until nothing changes any more, writes the picture and leaves.
pub fn take(
    session: Session,
    (scene, bare): (Scene, Bare),
    canvas: Canvas,
    file: PathBuf,
) -> AppExit {
    let mut app = windowless(session, canvas);
    app.insert_resource(Wanted {
        file,
        bare,
        scene,
        fitted: false,
        arranged: false,
        settled: 0,
        frames: 0,
        asked: false,
    })
    .add_systems(Last, ask);
    app.run()
}

#[allow(
    clippy::too_many_arguments,
    reason = "a system of Bevy takes each thing that it reads as an argument"
)]
fn ask(
    mut commands: Commands,
    mut wanted: ResMut<Wanted>,
    mut desk: NonSendMut<Desk>,
    drawn: Res<Drawn>,
    (uploads, compiling): (Res<Uploads>, Res<Compiling>),
    contexts: Query<Entity, With<PrimaryEguiContext>>,
    mut pointer: MessageWriter<EguiInputEvent>,
    mut exit: MessageWriter<AppExit>,
) {
    let session = &mut desk.session;
    if wanted.asked {
        if wanted.bare.panels && !session.is_copying_view() {
            exit.write(
                match session.notices.has_errors() || session.doc.is_none() {
                    true => AppExit::error(),
                    false => AppExit::Success,
                },
            );
        }
        return;
    }
    let busy = session.is_working()
        || session.is_drawing_cards()
        || session.has_skin_updates()
        || uploads.busy
        || compiling.any();
    wanted.frames += 1;
    wanted.settled = if busy { 0 } else { wanted.settled + 1 };
    if wanted.frames > MOST_FRAMES {
        error!("the picture never settled");
        exit.write(AppExit::error());
        return;
    }
    if busy {
        // The work runs on other threads; leave them the processor.
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    if wanted.settled < SETTLED_FRAMES {
        return;
    }
    if !wanted.fitted {
        // The part may have come before the window knew its scale.
        wanted.fitted = true;
        wanted.settled = 0;
        session.view.fit_wanted = session.doc.is_some();
        return;
    }
    if !wanted.arranged {
        wanted.arranged = true;
        wanted.settled = 0;
        if let Some(at) = arrange(session, wanted.scene) {
            let context = contexts.iter().next();
            pointer.write_batch(context.map(|context| EguiInputEvent {
                context,
                event: egui::Event::PointerMoved(at),
            }));
        }
        return;
    }
    wanted.asked = true;
    if wanted.bare.panels {
        act(
            session,
            Command::CopyView(ViewCopy {
                size: Size::AsSeen,
                clear: wanted.bare.ground,
                to: To::File(wanted.file.clone()),
            }),
        );
        return;
    }
    commands.spawn(Screenshot(drawn.target())).observe(write);
}

fn act(session: &mut Session, command: Command) {
    session.apply(command);
}

/// Brings the session into the state that is to be shown; gives where the pointer is.
fn arrange(session: &mut Session, scene: Scene) -> Option<egui::Pos2> {
    let stage = session.view.stage;
    let near_middle = stage.center() + egui::vec2(stage.width() * 0.04, stage.height() * 0.12);
    let tilt = |session: &mut Session, pitch_deg| {
        session.view.camera.pitch_deg = pitch_deg;
        session.view.fit_wanted = true;
    };
    match scene {
        Scene::Plain => return None,
        Scene::Fade => {
            let plan = session.doc.as_ref().map(|d| d.plan());
            let fade = |r: &plan::Region| matches!(r.paint, Paint::Fade { .. });
            if let Some(region) = plan.and_then(|p| p.regions.iter().position(fade)) {
                session.choose_region(region);
                session.chosen.stop = Some(0);
            }
        }
        Scene::Tilted => {
            tilt(session, 28.0);
            return Some(near_middle);
        }
        Scene::Brush => {
            act(session, Command::NewArea);
            for step in 0..24 {
                let along = step as f32 / 23.0 - 0.5;
                let at = stage.center()
                    + egui::vec2(
                        along * 120.0,
                        stage.height() * 0.12 + (along * 7.0).sin() * 30.0,
                    );
                match step {
                    0 => session.begin_stroke(at),
                    _ => session.go_on_stroke(at),
                }
            }
            session.end_stroke();
            session.tools.take(Tool::Brush);
            return Some(near_middle);
        }
        Scene::Lasso => {
            act(session, Command::NewArea);
            act(session, Command::Take(Tool::Lasso));
            let middle = stage.center() + egui::vec2(0.0, stage.height() * 0.05);
            for step in 0..40 {
                let turn = step as f32 / 40.0 * std::f32::consts::TAU;
                let wide = 46.0 + 12.0 * (3.0 * turn).sin();
                let at = middle + egui::Vec2::angled(turn) * egui::vec2(wide, 1.6 * wide);
                match step {
                    0 => act(session, Command::BeginOutline(at)),
                    _ => act(session, Command::GoOnOutline(at)),
                }
            }
        }
        Scene::Fill => {
            tilt(session, 28.0);
            act(session, Command::Take(Tool::Fill));
            act(session, Command::FillBy(FillBy::Flatness));
            return Some(near_middle);
        }
        Scene::Placing => {
            tilt(session, 50.0);
            session.tools.take(Tool::Place);
        }
        Scene::Inside => {
            tilt(session, 38.0);
            session.view.cut = true;
        }
        Scene::Across => {
            tilt(session, 20.0);
            act(session, Command::Section(Cutting::Across(Across::X)));
        }
        Scene::ViewCopy => act(session, Command::AskViewCopy),
        Scene::Folded => {
            act(session, Command::Fold(SidePanel::Drawer));
            act(session, Command::Fold(SidePanel::Ribbon));
        }
        Scene::Printed => act(session, Command::Show(Look::Printed)),
        Scene::Difference => act(session, Command::Show(Look::Difference)),
        Scene::Spools => session.drawer = Drawer::Spools,
        Scene::Part => session.drawer = Drawer::Part,
        Scene::Checks => session.drawer = Drawer::Checks,
        Scene::Keys => act(session, Command::Keys),
        Scene::Help => act(session, Command::Help),
        Scene::Save => act(session, Command::SaveAs),
        Scene::Prepare => act(session, Command::Prepare),
        Scene::Block => {
            act(session, Command::Weave);
            act(session, Command::TryOptions);
            session.finish_work();
            tilt(session, 28.0);
        }
        Scene::Ways => {
            act(session, Command::Weave);
            act(session, Command::CompareWays);
            session.finish_work();
        }
        Scene::Job => {
            act(session, Command::Job);
            act(session, Command::Run(Errand::KeyIn));
            session.finish_work();
        }
        Scene::Photograph | Scene::Frame => {
            act(session, Command::Photograph);
            let form = PhotoForm {
                photo: "photograph.jpg".to_owned(),
                plan: "swatch/swatch.plan.ron".to_owned(),
                references: ["0.9", "0.18", "0.04"].map(str::to_owned),
                ..session.photographs.form.clone()
            };
            act(session, Command::SetPhotoForm(Box::new(form)));
            read_photo(session);
            if scene == Scene::Frame {
                let mut form = session.photographs.form.clone();
                let off = |Frame(corners): Frame| Frame(corners.map(|(x, y)| (x + 30.0, y - 55.0)));
                form.frame = session.photographs.frame().map(off);
                act(session, Command::SetPhotoForm(Box::new(form)));
                read_photo(session);
            }
        }
        Scene::Finished | Scene::Views | Scene::Traced => {
            act(session, Command::FinishedPart);
            let mut form = FinishedForm {
                references: ["0.9", "0.18", "0.04"].map(str::to_owned),
                ..session.finished.form.clone()
            };
            form.shows.views = scene == Scene::Views;
            form.add(&["finished.jpg".into()]);
            let second = PathBuf::from("finished-2.jpg");
            if second.is_file() {
                form.add(&[second]);
            }
            act(session, Command::SetFinishedForm(Box::new(form)));
            act(session, Command::ReadFinished);
            session.finish_work();
            if scene == Scene::Traced {
                // Its step comes into sight while it is looked for.
                act(session, Command::TraceFinished);
            }
        }
        Scene::Weave | Scene::Follow => {
            act(session, Command::Weave);
            session.weave();
            session.finish_work();
            session.read_back();
            session.finish_work();
            if scene == Scene::Follow {
                act(session, Command::Follow);
                session.finish_work();
                session.go_to_share(0.7);
            }
        }
        Scene::Error => session.open("no-such-part.stl"),
    }
    None
}

fn read_photo(session: &mut Session) {
    act(session, Command::ReadPhoto);
    session.finish_work();
}

fn write(captured: On<ScreenshotCaptured>, wanted: Res<Wanted>, mut exit: MessageWriter<AppExit>) {
    let image = &captured.image;
    let pixels = Pixels {
        width: image.width(),
        height: image.height(),
        rgba: image.data.clone().unwrap_or_default(),
    };
    let written = png_bytes(&pixels, false)
        .and_then(|bytes| project::write::bytes(&wanted.file, &bytes).map_err(|e| e.to_string()));
    match written {
        Ok(()) => exit.write(AppExit::Success),
        Err(why) => {
            error!("{why}");
            exit.write(AppExit::error())
        }
    };
}
