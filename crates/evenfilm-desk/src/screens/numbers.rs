//! The numbers: charts, and every value with its definition.

use egui::Ui;

use crate::change::Acts;
use crate::state::State;

/// How the charts are looked at.
#[derive(Default)]
pub(crate) struct Draft {}

pub(super) fn show(_ui: &mut Ui, _state: &State, _draft: &mut Draft, _acts: &mut Acts) {}
