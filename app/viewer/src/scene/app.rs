//! Puts the application together: with a window, or drawing into a picture without one.

use std::time::Duration;

use bevy::app::{PluginGroupBuilder, ScheduleRunnerPlugin, TerminalCtrlCHandlerPlugin};
use bevy::camera::{ImageRenderTarget, RenderTarget};
use bevy::image::Image;
use bevy::log::LogPlugin;
use bevy::prelude::*;
use bevy::render::render_resource::{TextureFormat, TextureUsages};
use bevy::window::{ExitCondition, PresentMode, WindowRef, WindowResolution};
use bevy::winit::{UpdateMode, WinitPlugin, WinitSettings};

use super::{Desk, ScenePlugin, redraw, spawn_eye, window};
use crate::state::Session;

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
pub struct Drawn(pub Handle<Image>);

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
            ..Window::default()
        }),
        exit_condition: ExitCondition::DontExit,
        close_when_requested: false,
        ..WindowPlugin::default()
    }))
    .insert_non_send(Desk { session })
    .add_plugins(ScenePlugin)
    .add_systems(Startup, (spawn_in_window, redraw::give_waker))
    .add_systems(Update, (redraw::listen, window::close))
    .add_systems(Last, (redraw::keep_going, window::set_title));
    app
}

fn spawn_in_window(mut commands: Commands) {
    spawn_eye(&mut commands, RenderTarget::Window(WindowRef::Primary));
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
    app
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
    commands.insert_resource(Drawn(handle.clone()));
    spawn_eye(
        &mut commands,
        RenderTarget::Image(ImageRenderTarget {
            handle,
            scale_factor: canvas.scale,
        }),
    );
}
