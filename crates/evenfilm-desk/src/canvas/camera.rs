//! Where the eye is: which part of a picture is seen, and how large.

/// Most points of the screen that a pixel of the picture takes.
const LARGEST: f64 = 64.0;

/// The eye over a picture. Places are in pixels of the picture; sizes of the screen in physical pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Camera {
    /// The place in the middle of the view, px of the picture; `None` is its middle.
    pub centre: Option<[f64; 2]>,
    /// Pixels of the screen to a pixel of the picture; `None` shows all of it.
    pub zoom: Option<f64>,
}

/// The part of a picture that a view shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Upper left corner of the view, px of the picture; negative where the picture is smaller than the view.
    pub from: [f64; 2],
    /// Pixels of the screen to a pixel of the picture.
    pub zoom: f64,
}

impl Camera {
    /// What a view of this size shows of a picture of that size.
    pub fn seen(&self, view: [f64; 2], picture: (u32, u32)) -> Seen {
        let sides = [f64::from(picture.0), f64::from(picture.1)];
        let whole = whole(view, sides);
        let zoom = self.zoom.map_or(whole, |zoom| zoom.clamp(whole.min(1.0), LARGEST));
        let centre = self.centre.unwrap_or([sides[0] / 2.0, sides[1] / 2.0]);
        let from = [0, 1].map(|i| {
            let span = view[i] / zoom;
            if span >= sides[i] { (sides[i] - span) / 2.0 } else { (centre[i] - span / 2.0).clamp(0.0, sides[i] - span) }
        });
        Seen { from, zoom }
    }

    /// Enlarges by a factor; what is at the place `at` of the view stays there.
    pub fn zoom_at(&mut self, factor: f64, at: [f64; 2], view: [f64; 2], picture: (u32, u32)) {
        let before = self.seen(view, picture);
        let whole = whole(view, [f64::from(picture.0), f64::from(picture.1)]);
        let zoom = (before.zoom * factor).clamp(whole.min(1.0), LARGEST);
        if zoom <= whole * 1.000_001 && whole <= 1.0 {
            *self = Self::default();
            return;
        }
        self.zoom = Some(zoom);
        self.centre = Some([0, 1].map(|i| before.from[i] + at[i] / before.zoom + (view[i] / 2.0 - at[i]) / zoom));
        self.settle(view, picture);
    }

    /// Moves the picture by so many pixels of the screen.
    pub fn drag(&mut self, by: [f64; 2], view: [f64; 2], picture: (u32, u32)) {
        let Seen { from, zoom } = self.seen(view, picture);
        self.centre = Some([0, 1].map(|i| from[i] + view[i] / 2.0 / zoom - by[i] / zoom));
        self.settle(view, picture);
    }

    /// Brings a place of the picture into the middle.
    pub fn look_at(&mut self, place: [f64; 2], view: [f64; 2], picture: (u32, u32)) {
        self.centre = Some(place);
        self.settle(view, picture);
    }

    /// Keeps the middle where it can be, so that a drag beyond the frame need not be dragged back.
    fn settle(&mut self, view: [f64; 2], picture: (u32, u32)) {
        let Seen { from, zoom } = self.seen(view, picture);
        self.centre = Some([0, 1].map(|i| from[i] + view[i] / 2.0 / zoom));
    }
}

/// The zoom at which all of a picture is seen.
fn whole(view: [f64; 2], sides: [f64; 2]) -> f64 {
    (view[0] / sides[0].max(1.0)).min(view[1] / sides[1].max(1.0)).clamp(1e-6, LARGEST)
}

impl Seen {
    /// The place of the picture at a place of the view.
    pub fn place(&self, at: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|i| self.from[i] + at[i] / self.zoom)
    }

    /// The place of the view at a place of the picture.
    pub fn on_screen(&self, place: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|i| (place[i] - self.from[i]) * self.zoom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const VIEW: [f64; 2] = [800.0, 600.0];
    const PICTURE: (u32, u32) = (4000, 3000);

    fn near(found: [f64; 2], expected: [f64; 2]) {
        assert!((0..2).all(|i| (found[i] - expected[i]).abs() < 1e-9), "{found:?}, expected {expected:?}");
    }

    #[test]
    fn the_whole_picture_lies_in_the_middle() {
        let seen = Camera::default().seen(VIEW, PICTURE);
        assert_eq!(seen, Seen { from: [0.0, 0.0], zoom: 0.2 });
        let tall = Camera::default().seen(VIEW, (100, 600));
        near(tall.on_screen([50.0, 300.0]), [400.0, 300.0]);
    }

    #[test]
    fn what_is_under_the_pointer_stays_there() {
        let mut camera = Camera::default();
        let at = [610.0, 130.0];
        let place = camera.seen(VIEW, PICTURE).place(at);
        for factor in [1.5, 1.5, 3.0, 0.7, 2.0] {
            camera.zoom_at(factor, at, VIEW, PICTURE);
            near(camera.seen(VIEW, PICTURE).place(at), place);
        }
        for _ in 0..60 {
            camera.zoom_at(0.8, at, VIEW, PICTURE);
        }
        assert_eq!(camera, Camera::default());
        for _ in 0..60 {
            camera.zoom_at(1.3, at, VIEW, PICTURE);
        }
        assert!((camera.seen(VIEW, PICTURE).zoom - LARGEST).abs() < 1e-9);
    }

    #[test]
    fn a_drag_ends_at_the_frame() {
        let mut camera = Camera { centre: None, zoom: Some(1.0) };
        camera.drag([-100.0, 50.0], VIEW, PICTURE);
        near(camera.seen(VIEW, PICTURE).from, [1700.0, 1150.0]);
        camera.drag([1e6, 1e6], VIEW, PICTURE);
        near(camera.seen(VIEW, PICTURE).from, [0.0, 0.0]);
        camera.drag([-10.0, -10.0], VIEW, PICTURE);
        near(camera.seen(VIEW, PICTURE).from, [10.0, 10.0]);
    }

    #[test]
    fn small_pictures_are_enlarged_to_be_seen_whole() {
        let seen = Camera::default().seen(VIEW, (8, 8));
        assert!(seen.zoom > 50.0);
        let mut camera = Camera::default();
        camera.zoom_at(0.01, [0.0, 0.0], VIEW, (8, 8));
        assert!((camera.seen(VIEW, (8, 8)).zoom - 1.0).abs() < 1e-9, "no smaller than pixel for pixel");
    }
}
