//! Puts the application together: with a window, or drawing into a picture without one.

use std::time::Duration;

use bevy::app::{PluginGroupBuilder, ScheduleRunnerPlugin, TerminalCtrlCHandlerPlugin};
use bevy::camera::{ImageRenderTarget, RenderTarget};
use bevy::ecs::schedule::{Schedules, SingleThreadedExecutor};
use bevy::image::Image;
use bevy::light::cluster::GlobalClusterSettings;
use bevy::log::LogPlugin;
use bevy::prelude::*;
use bevy::render::render_resource::{PipelineCache, TextureFormat, TextureUsages};
use bevy::render::{Render, RenderApp};
use bevy::window::{
    ExitCondition, PresentMode, WindowRef, WindowResizeConstraints, WindowResolution,
};
use bevy::winit::{UpdateMode, WinitPlugin, WinitSettings};

use bevy_egui::EguiPreUpdateSet;

use super::desk::{Compiling, Desk};
use super::{ScenePlugin, input, redraw, spawn_camera, window};
use crate::session::Session;

/// Size of a picture, in pixels, and how many of them an egui point takes.
#[derive(Clone, Copy, Debug, PartialEq, Resource)]
pub struct Canvas {
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Pixels per point.
    pub scale: f32,
}

impl Default for Canvas {
    fn default() -> Self {
        Self {
            width: 1280,
            height: 800,
            scale: 1.0,
        }
    }
}

/// The picture that a windowless application draws into.
#[derive(Resource, Clone)]
pub struct Drawn(RenderTarget);

impl Drawn {
    /// What to take a picture of. It has to be named with its scale, or it counts as another.
    pub fn target(&self) -> RenderTarget {
        self.0.clone()
    }
}

/// Nothing is drawn for this long unless something happens.
const IDLE: Duration = Duration::from_secs(24 * 3600);

fn plugins() -> PluginGroupBuilder {
    DefaultPlugins
        .build()
        .set(LogPlugin {
            filter: "error,tintfall_viewer=info".to_owned(),
            ..LogPlugin::default()
        })
        .disable::<TerminalCtrlCHandlerPlugin>()
}

/// One thread runs a frame's systems, and no lights are sorted. There are many short systems
/// and no lights, so handing the ones about and sorting the others would take most of a frame.
fn keep_frames_short(app: &mut App) {
    one_thread(app.world_mut());
    // Where surfaces have to be made on the main thread, the renderer keeps its own way.
    if !cfg!(target_vendor = "apple")
        && let Some(render) = app.get_sub_app_mut(RenderApp)
    {
        one_thread(render.world_mut());
    }
    app.add_systems(Startup, |mut lights: ResMut<GlobalClusterSettings>| {
        lights.gpu_clustering = None;
    });
}

fn one_thread(world: &mut World) {
    if let Some(mut schedules) = world.get_resource_mut::<Schedules>() {
        for (_, schedule) in schedules.iter_mut() {
            schedule.set_executor(SingleThreadedExecutor::new());
        }
    }
}

/// An application with a window.
pub fn windowed(session: Session, canvas: Canvas) -> App {
    let mut app = App::new();
    let idle = UpdateMode::Reactive {
        wait: IDLE,
        react_to_device_events: false,
        react_to_user_events: true,
        react_to_window_events: true,
    };
    app.insert_resource(WinitSettings {
        focused_mode: idle,
        unfocused_mode: idle,
    })
    .add_plugins(plugins().set(WindowPlugin {
        primary_window: Some(Window {
            title: session.title(),
            name: Some("tintfall".to_owned()),
            resolution: WindowResolution::new(canvas.width, canvas.height),
            present_mode: PresentMode::AutoVsync,
            // Panels and stage need so much; with less, something would be cut off.
            resize_constraints: WindowResizeConstraints {
                min_width: 960.0,
                min_height: 600.0,
                ..WindowResizeConstraints::default()
            },
            ..Window::default()
        }),
        exit_condition: ExitCondition::DontExit,
        close_when_requested: false,
        ..WindowPlugin::default()
    }))
    .insert_non_send(Desk { session })
    .add_plugins(ScenePlugin)
    .init_resource::<redraw::Wishes>()
    .init_resource::<input::Pacing>()
    .add_systems(First, input::take_keyboard)
    .add_systems(
        PreUpdate,
        input::pace
            .after(EguiPreUpdateSet::ProcessInput)
            .before(EguiPreUpdateSet::BeginPass),
    )
    .add_systems(Startup, (spawn_in_window, redraw::give_waker))
    .add_systems(Update, (redraw::listen, window::close))
    .add_systems(Last, (redraw::keep_going, window::set_title));
    keep_frames_short(&mut app);
    count_compiling(&mut app);
    app
}

fn spawn_in_window(mut commands: Commands) {
    spawn_camera(&mut commands, RenderTarget::Window(WindowRef::Primary));
}

/// An application that draws into a picture, with no window and no display.
pub fn windowless(session: Session, canvas: Canvas) -> App {
    let mut app = App::new();
    app.add_plugins(
        plugins()
            .set(WindowPlugin {
                primary_window: None,
                exit_condition: ExitCondition::DontExit,
                ..WindowPlugin::default()
            })
            .disable::<WinitPlugin>()
            // One frame after the other, so that a frame's time is its own.
            .disable::<bevy::render::pipelined_rendering::PipelinedRenderingPlugin>(),
    )
    .add_plugins(ScheduleRunnerPlugin::run_loop(Duration::ZERO))
    .insert_resource(canvas)
    .insert_non_send(Desk { session })
    .add_plugins(ScenePlugin)
    .add_systems(Startup, spawn_on_picture);
    keep_frames_short(&mut app);
    count_compiling(&mut app);
    app
}

fn count_compiling(app: &mut App) {
    let compiling = Compiling::default();
    if let Some(render) = app.get_sub_app_mut(RenderApp) {
        render.insert_resource(compiling.clone()).add_systems(
            Render,
            |cache: Res<PipelineCache>, compiling: Res<Compiling>| {
                let count = cache.waiting_pipelines().count();
                compiling.tell(count);
            },
        );
    }
    app.insert_resource(compiling);
}

fn spawn_on_picture(
    mut commands: Commands,
    canvas: Res<Canvas>,
    mut images: ResMut<Assets<Image>>,
) {
    let mut image = Image::new_target_texture(
        canvas.width,
        canvas.height,
        TextureFormat::Rgba8UnormSrgb,
        None,
    );
    image.texture_descriptor.usage |= TextureUsages::COPY_SRC;
    let handle = images.add(image);
    let target = RenderTarget::Image(ImageRenderTarget {
        handle,
        scale_factor: canvas.scale,
    });
    commands.insert_resource(Drawn(target.clone()));
    spawn_camera(&mut commands, target);
}
