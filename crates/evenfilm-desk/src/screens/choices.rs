//! The choices as plain questions, each answered by settings that show unit, range, built-in value and reason.

use egui::Ui;

use crate::change::Acts;
use crate::state::State;

pub(super) fn show(_ui: &mut Ui, _state: &State, _acts: &mut Acts) {}
