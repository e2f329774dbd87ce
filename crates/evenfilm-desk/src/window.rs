//! The window itself: opened, filled by the desk, and closed.

use std::path::PathBuf;

use eframe::egui;

use crate::state::{Run, WriteStage};
use crate::{Desk, Places};

/// The window could not be opened.
#[derive(Debug)]
pub struct WindowFault(pub String);

impl std::fmt::Display for WindowFault {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(to, "the desk cannot open a window: {}", self.0)
    }
}

impl std::error::Error for WindowFault {}

/// Opens the desk and stays until it is closed.
///
/// # Errors
/// There is no screen, or it cannot draw.
pub fn run(folder: Option<PathBuf>) -> Result<(), WindowFault> {
    let places = Places::of_system();
    let desk = Desk::new(&places, folder);
    let prefs = desk.state.prefs.clone();
    let viewport = egui::ViewportBuilder::default()
        .with_title("Evenfilm")
        .with_app_id("evenfilm")
        .with_inner_size(prefs.window)
        .with_min_inner_size([900.0, 600.0])
        .with_maximized(prefs.maximized)
        .with_drag_and_drop(true);
    let options = eframe::NativeOptions { viewport, renderer: eframe::Renderer::Glow, ..Default::default() };
    eframe::run_native("evenfilm", options, Box::new(|_| Ok(Box::new(App(desk))))).map_err(|e| WindowFault(plain(&e.to_string())))
}

/// An error of the window's library without the place in its source.
fn plain(error: &str) -> String {
    let behind_source = error.rsplit_once(".rs:").and_then(|(_, rest)| rest.split_once(": "));
    behind_source.map_or(error, |(_, what)| what).to_owned()
}

struct App(Desk);

impl eframe::App for App {
    fn logic(&mut self, ctx: &egui::Context, _: &mut eframe::Frame) {
        self.0.logic(ctx);
    }

    fn ui(&mut self, ui: &mut egui::Ui, _: &mut eframe::Frame) {
        self.0.show(ui);
        self.0.window(ui.ctx());
    }
}

impl Desk {
    /// Remembers the window's size, and asks before a record that is being written is given up.
    fn window(&mut self, ctx: &egui::Context) {
        let (size, maximized, closing) = ctx.input(|input| {
            let viewport = input.viewport();
            (viewport.inner_rect.map(|rect| rect.size()), viewport.maximized.unwrap_or(false), viewport.close_requested())
        });
        self.state.prefs.maximized = maximized;
        if let (Some(size), false) = (size, maximized) {
            let scale = f32::from(self.state.prefs.scale_pct) / 100.0;
            self.state.prefs.window = [(size.x * scale).round(), (size.y * scale).round()];
        }
        let writing = self.state.queue.iter().any(|one| matches!(one.stage, WriteStage::Waits | WriteStage::Going { .. }));
        let signing = self.state.signing.as_ref().is_some_and(|signing| signing.is_going);
        let unsaved = self.state.lot.as_ref().is_some_and(|lot| !lot.unsaved().is_empty());
        if closing && !self.may_close && (writing || signing || unsaved) {
            ctx.send_viewport_cmd(egui::ViewportCommand::CancelClose);
            self.state.over = Some(crate::state::Over::Closing);
        }
        if (self.may_close || std::mem::take(&mut self.wants_to_close)) && !closing {
            ctx.send_viewport_cmd(egui::ViewportCommand::Close);
        }
        let title = self.window_title();
        if title != self.title {
            ctx.send_viewport_cmd(egui::ViewportCommand::Title(title.clone()));
            self.title = title;
        }
    }

    /// What the window is called: seen in the list of windows while it is hidden.
    fn window_title(&self) -> String {
        let Some(lot) = &self.state.lot else { return "Evenfilm".into() };
        let state = match &lot.run {
            Run::Going { .. } => "measuring",
            Run::Failed(_) => "cannot be measured",
            Run::Stopped => "stopped",
            Run::Idle if self.is_busy() => "reading the picture",
            Run::Idle => "measured",
        };
        format!("{}: {state} – Evenfilm", lot.name)
    }
}
