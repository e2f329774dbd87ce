//! Parts of a picture that is too large to be held: which is wanted next, and those that came.

use evenfilm_core::plane::Rect;

use crate::canvas::{Detail, FieldPicture, Seen, reduction_for};

/// Parts that are kept, so that a step back does not read again.
const KEPT: usize = 3;

/// Finer parts of the picture that is shown, coarse ones first.
#[derive(Default)]
pub(crate) struct Parts {
    all: Vec<Detail>,
    asked: Option<(Rect, u32)>,
    changes: u64,
}

impl Parts {
    /// The parts, coarse ones first.
    pub(super) fn all(&self) -> &[Detail] {
        &self.all
    }

    /// How often they changed.
    pub(super) const fn changes(&self) -> u64 {
        self.changes
    }

    /// Takes in a part that was read.
    pub(super) fn take(&mut self, detail: Detail) {
        // What the new part shows at least as well need not be kept.
        self.all.retain(|old| !(holds(detail.at, old.at) && detail.reduction <= old.reduction));
        if self.all.len() >= KEPT {
            self.all.remove(0);
        }
        self.all.push(detail);
        self.all.sort_by_key(|part| std::cmp::Reverse(part.reduction));
        self.changes += 1;
    }

    /// The part to ask for: what is seen and a little around it, where it would be finer than what is held and was not asked for yet.
    pub(super) fn wanted(&mut self, picture: &FieldPicture, seen: Seen, view: [f64; 2]) -> Option<(Rect, u32)> {
        let reduction = reduction_for(seen.zoom);
        if reduction >= picture.light.first {
            return None;
        }
        let in_view = part(picture.size, seen, view, (0.0, reduction))?;
        let fine = |part: &(Rect, u32)| holds(part.0, in_view) && part.1 <= reduction;
        if self.asked.as_ref().is_some_and(fine) || self.all.iter().any(|part| fine(&(part.at, part.reduction))) {
            return None;
        }
        self.asked = Some((part(picture.size, seen, view, (0.15, reduction))?, reduction));
        self.asked
    }
}

fn holds(outer: Rect, inner: Rect) -> bool {
    outer.x <= inner.x && outer.y <= inner.y && outer.right() >= inner.right() && outer.bottom() >= inner.bottom()
}

/// What is seen of a picture and this share of it on each side, in whole steps of the reduction.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cut to the picture first")]
fn part(size: (u32, u32), seen: Seen, view: [f64; 2], (margin, reduction): (f64, u32)) -> Option<Rect> {
    let step = 1_u32.checked_shl(reduction)?;
    let side = |i: usize, side: u32| {
        let span = view[i] / seen.zoom;
        let cut = |at: f64| at.clamp(0.0, f64::from(side)) as u32;
        let from = cut(seen.from[i] - margin * span) / step * step;
        let to = cut((seen.from[i] + (1.0 + margin) * span).ceil()).div_ceil(step).saturating_mul(step).min(side);
        (from, to.saturating_sub(from))
    };
    let ((x, width), (y, height)) = (side(0, size.0), side(1, size.1));
    (width > 0 && height > 0).then(|| Rect::new(x, y, width, height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_aligned_and_within() {
        let seen = Seen { from: [1003.0, 501.0], zoom: 0.5 };
        let at = part((3000, 2000), seen, [400.0, 300.0], (0.15, 1)).unwrap();
        assert_eq!((at.x % 2, at.y % 2, at.width % 2), (0, 0, 0));
        assert!(holds(at, Rect::new(1003, 501, 800, 600)));
        assert!(at.width < 1100 && at.height < 800, "{at:?}");
        let edge = part((1811, 1101), seen, [400.0, 300.0], (0.15, 1)).unwrap();
        assert_eq!((edge.right(), edge.bottom()), (1811, 1101));
        assert_eq!(part((10, 10), seen, [400.0, 300.0], (0.0, 1)), None);
    }
}
