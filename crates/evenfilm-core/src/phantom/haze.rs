//! Haze: the slow unevenness of a film's optical density.

use crate::plane::Rect;
use crate::random::Source;

/// A smooth random field without end, of mean 0 and variance 1 at every point: independent normal numbers on a square lattice, read by
/// cubic B-splines and divided by the root of the sum of the squared weights.
#[derive(Clone, Copy, Debug)]
pub struct Haze {
    source: Source,
    spacing_px: f64,
}

/// Distance over which the correlation of the field falls to 1/e, in lattice spacings: the correlation of cubic B-splines is close to a
/// Gaussian of variance 2/3.
const LENGTH_IN_SPACINGS: f64 = 1.1547;

impl Haze {
    /// A field of this correlation length (to 1/e), px.
    pub fn new(source: Source, length_px: f64) -> Self {
        Self { source, spacing_px: length_px / LENGTH_IN_SPACINGS }
    }

    /// Values at the pixel centres of a rectangle, row after row.
    pub fn fill(&self, at: Rect, out: &mut [f64]) {
        let columns: Vec<(usize, [f64; 4])> = (at.x..at.right()).map(|x| self.weights(x)).collect();
        let first = columns.first().map_or(0, |c| c.0);
        let count = columns.last().map_or(0, |c| c.0 + 4 - first);
        let mut line = vec![0.0; count];
        for (y, row) in (at.y..).zip(out.chunks_exact_mut((at.width as usize).max(1))) {
            let (j, wy) = self.weights(y);
            for (i, value) in line.iter_mut().enumerate() {
                *value = (0..4).map(|k| wy[k] * self.knot(first + i, j + k)).sum();
            }
            for (value, (i, wx)) in row.iter_mut().zip(&columns) {
                let knots = &line[i - first..i - first + 4];
                *value = wx[0] * knots[0] + wx[1] * knots[1] + wx[2] * knots[2] + wx[3] * knots[3];
            }
        }
    }

    /// First of the four lattice lines that a pixel reads, and their weights.
    fn weights(&self, pixel: u32) -> (usize, [f64; 4]) {
        let place = (f64::from(pixel) + 0.5) / self.spacing_px;
        let cell = super::floor_index(place);
        let t = place - cell as f64;
        let s = 1.0 - t;
        let w = [s * s * s, 3.0 * t * t * t - 6.0 * t * t + 4.0, 3.0 * s * s * s - 6.0 * s * s + 4.0, t * t * t];
        let norm = w.iter().map(|w| w * w).sum::<f64>().sqrt();
        (cell, w.map(|w| w / norm))
    }

    fn knot(&self, i: usize, j: usize) -> f64 {
        self.source.normals((i as u64) << 32 | j as u64)[0]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(at: Rect) -> Vec<f64> {
        let mut out = vec![0.0; at.width as usize * at.height as usize];
        Haze::new(Source::new(5, 1), 6.0).fill(at, &mut out);
        out
    }

    /// A part of the field read alone is the same as read with the rest.
    #[test]
    fn any_rectangle_reads_the_same() {
        let (whole, part) = (values(Rect::new(0, 0, 64, 48)), values(Rect::new(31, 17, 9, 5)));
        for (i, v) in part.iter().enumerate() {
            assert_eq!(v.to_bits(), whole[(17 + i / 9) * 64 + 31 + i % 9].to_bits());
        }
    }

    #[test]
    fn mean_variance_and_length() {
        let (w, h) = (900_usize, 900_usize);
        let v = values(Rect::new(0, 0, 900, 900));
        let n = (w * h) as f64;
        let mean = v.iter().sum::<f64>() / n;
        let variance = v.iter().map(|x| x * x).sum::<f64>() / n - mean * mean;
        assert!(mean.abs() < 0.05 && (variance - 1.0).abs() < 0.05, "{mean} {variance}");
        let product: f64 = (0..h).map(|y| (0..w - 6).map(|x| v[y * w + x] * v[y * w + x + 6]).sum::<f64>()).sum();
        let correlation = product / (h * (w - 6)) as f64 / variance;
        assert!((correlation - 0.3679).abs() < 0.05, "{correlation}");
    }
}
