use egui::Ui;
use crate::change::Acts;
use crate::state::State;
pub(super) fn show(_ui: &mut Ui, _state: &State, _acts: &mut Acts) {}
