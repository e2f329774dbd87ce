//! Undo and redo over small values. What is changed in one gesture, such as a drag, is one step.

/// Steps that are kept.
const MOST: usize = 200;

/// What was before and after now.
#[derive(Clone, Debug)]
pub(crate) struct History<T> {
    before: Vec<T>,
    after: Vec<T>,
    /// Whether the gesture that goes on has made its step.
    in_gesture: bool,
}

impl<T> Default for History<T> {
    fn default() -> Self {
        Self { before: Vec::new(), after: Vec::new(), in_gesture: false }
    }
}

impl<T: Clone + PartialEq> History<T> {
    /// Keeps what is before it is changed. `more` says that the gesture goes on after this change.
    pub(crate) fn step(&mut self, now: &T, more: bool) {
        if !self.in_gesture {
            self.before.push(now.clone());
            if self.before.len() > MOST {
                self.before.remove(0);
            }
            self.after.clear();
        }
        self.in_gesture = more;
    }

    /// The gesture has ended.
    pub(crate) fn end_gesture(&mut self) {
        self.in_gesture = false;
    }

    /// Goes one step back; false where there is none.
    pub(crate) fn undo(&mut self, now: &mut T) -> bool {
        self.in_gesture = false;
        let Some(before) = self.before.pop() else { return false };
        self.after.push(std::mem::replace(now, before));
        true
    }

    /// Goes one step on again; false where there is none.
    pub(crate) fn redo(&mut self, now: &mut T) -> bool {
        self.in_gesture = false;
        let Some(after) = self.after.pop() else { return false };
        self.before.push(std::mem::replace(now, after));
        true
    }

    pub(crate) fn can_undo(&self) -> bool {
        !self.before.is_empty()
    }

    pub(crate) fn can_redo(&self) -> bool {
        !self.after.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drag_is_one_step() {
        let (mut history, mut now) = (History::default(), 1);
        for (next, more) in [(2, true), (3, true), (4, false), (9, false)] {
            history.step(&now, more);
            now = next;
        }
        assert!(history.undo(&mut now) && now == 4);
        assert!(history.undo(&mut now) && now == 1);
        assert!(!history.undo(&mut now) && now == 1);
        assert!(history.redo(&mut now) && now == 4);
        history.step(&now, false);
        now = 7;
        assert!(!history.redo(&mut now) && now == 7);
        assert!(history.undo(&mut now) && now == 4 && history.can_redo());
    }

    #[test]
    fn old_steps_are_forgotten() {
        let (mut history, mut now) = (History::default(), 0);
        for next in 1..=MOST + 5 {
            history.step(&now, false);
            now = next;
        }
        while history.undo(&mut now) {}
        assert_eq!(now, 5);
    }
}
