//! The margin: near one side a drying film piles up, thicker and with more powder, as the ring of a drop does.

use crate::random::Draws;

/// A coffee-ring margin along the side x = 0. From there inwards the surplus falls evenly to nothing at the width of the margin, and
/// stays whole outside the field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// Distance over which it falls off, µm.
    pub width_um: f64,
    /// Number density of singles and clumps at the side ÷ that of the rest, ≥ 1; as far as they find room there.
    pub powder_times: f64,
    /// Optical density of the haze at the side ÷ that of the rest.
    pub od_times: f64,
}

impl Margin {
    /// An even film.
    pub const NONE: Self = Self { width_um: 0.0, powder_times: 1.0, od_times: 1.0 };

    fn rise(&self, x_um: f64) -> f64 {
        if self.width_um > 0.0 { (1.0 - x_um / self.width_um).clamp(0.0, 1.0) } else { 0.0 }
    }

    /// Optical density of the haze ÷ that of the rest.
    pub fn od_at(&self, x_um: f64) -> f64 {
        1.0 + (self.od_times - 1.0) * self.rise(x_um)
    }

    /// Number density of the powder ÷ that of the rest.
    pub fn powder_at(&self, x_um: f64) -> f64 {
        1.0 + (self.powder_times - 1.0) * self.rise(x_um)
    }

    /// Mean of [`Self::powder_at`] from a place outside the field, at or below 0, to one within it or beyond.
    pub fn mean_powder(&self, [from_um, to_um]: [f64; 2]) -> f64 {
        let beyond = (self.width_um - to_um).max(0.0);
        let surplus = if self.width_um > 0.0 { -from_um + 0.5 * (self.width_um - beyond * beyond / self.width_um) } else { 0.0 };
        1.0 + (self.powder_times - 1.0) * surplus / (to_um - from_um)
    }

    /// A place between two, px, drawn by that density; a single draw where the film is even.
    pub(super) fn draw(&self, draws: &mut Draws, [from, to]: [f64; 2], um_per_px: f64) -> f64 {
        let mut x = draws.between(from, to);
        while self.powder_times > 1.0 && self.powder_times * draws.uniform() > self.powder_at(x * um_per_px) {
            x = draws.between(from, to);
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Source;

    /// The mean against a sum, for a margin within the field and one wider than it.
    #[test]
    fn mean_is_the_sum_of_the_profile() {
        for width_um in [60.0, 300.0] {
            let margin = Margin { width_um, powder_times: 4.0, od_times: 1.3 };
            let sum: f64 = (0..22_000).map(|i| margin.powder_at(-20.0 + 0.01 * (f64::from(i) + 0.5))).sum();
            assert!((margin.mean_powder([-20.0, 200.0]) - sum / 22_000.0).abs() < 1e-6, "{width_um}");
        }
        assert_eq!(Margin::NONE.mean_powder([-20.0, 200.0]).to_bits(), 1.0_f64.to_bits());
    }

    /// Within 30 of 60 µm lie (1 + 3 · 3/4) · 30 of 200 + 3 · 30 µm even film.
    #[test]
    fn places_follow_the_profile() {
        let margin = Margin { width_um: 60.0, powder_times: 4.0, od_times: 1.3 };
        let mut draws = Draws::new(Source::new(9, 1));
        let near = (0..50_000).filter(|_| margin.draw(&mut draws, [0.0, 400.0], 0.5) < 60.0).count();
        let expected = 3.25 * 30.0 / 290.0;
        assert!((near as f64 / 50_000.0 - expected).abs() < 0.009, "{near} {expected}");
    }
}
