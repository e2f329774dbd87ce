//! The sheet as a form.

use egui::Ui;

use crate::change::Acts;
use crate::state::State;

/// What is being typed.
#[derive(Default)]
pub(crate) struct Draft {}

pub(super) fn show(_ui: &mut Ui, _state: &State, _draft: &mut Draft, _acts: &mut Acts) {}
