//! Runs of a field at a quarter and a sixteenth of its size, for fields of so many runs that going through all of them would be felt. Every
//! pixel that a piece reaches into is taken, so that none vanishes.

use evenfilm_core::field::FieldResult;
use evenfilm_core::phases::{Run, RunMap};

/// Fields of fewer runs need none.
const MANY: usize = 500_000;

/// How often each is halved.
const HALVINGS: [u32; 2] = [2, 4];

/// The runs of a field, halved.
pub(crate) struct Coarse([[RunMap; 2]; 2]);

impl Coarse {
    /// Whether a field has so many runs that it needs them.
    pub(crate) fn is_needed(result: &FieldResult) -> bool {
        result.phases.iter().map(|map| map.runs.len()).sum::<usize>() > MANY
    }

    /// Halves the runs of a field.
    pub(crate) fn of(result: &FieldResult) -> Self {
        Self(HALVINGS.map(|halvings| [0, 1].map(|phase| halved(&result.phases[phase], halvings))))
    }

    /// The runs that are no finer than the screen at this zoom, and how often they are halved; `None` where the field's own are as good.
    pub(super) fn at(&self, zoom: f64) -> Option<(&[RunMap; 2], u32)> {
        let fits = |&(_, halvings): &(&[RunMap; 2], u32)| f64::from(1_u32 << halvings) * zoom <= 1.0;
        self.0.iter().zip(HALVINGS).rfind(fits)
    }
}

fn halved(map: &RunMap, halvings: u32) -> RunMap {
    let every = 1_usize << halvings;
    let rows: Vec<&[u32]> = map.row_start.windows(2).collect();
    let row = |rows: &[&[u32]]| {
        let range = rows.first().map_or(0, |ends| ends[0] as usize)..rows.last().map_or(0, |ends| ends[1] as usize);
        let (runs, owners) = (map.runs.get(range.clone()).unwrap_or_default(), map.owner.get(range).unwrap_or_default());
        let mut all: Vec<(u32, u32, u32)> =
            runs.iter().zip(owners).map(|(run, &owner)| (owner, run.x0 >> halvings, ((run.x1.max(1) - 1) >> halvings) + 1)).collect();
        all.sort_unstable();
        // Those of one owner that meet become one.
        all.dedup_by(|next, last| {
            let meets = next.0 == last.0 && next.1 <= last.2;
            if meets {
                last.2 = last.2.max(next.2);
            }
            meets
        });
        all.sort_unstable_by_key(|&(owner, x0, _)| (x0, owner));
        all
    };
    let halved: Vec<Vec<(u32, u32, u32)>> = rows.chunks(every).map(row).collect();
    let mut out = RunMap { row_start: vec![0], ..RunMap::default() };
    for row in halved {
        out.runs.extend(row.iter().map(|&(_, x0, x1)| Run { x0, x1 }));
        out.owner.extend(row.iter().map(|&(owner, ..)| owner));
        out.row_start.push(u32::try_from(out.runs.len()).unwrap_or(u32::MAX));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pixel_that_is_reached_is_taken() {
        let run = |x0, x1| Run { x0, x1 };
        let map = RunMap {
            row_start: vec![0, 2, 3, 3, 4, 5],
            runs: vec![run(0, 3), run(9, 10), run(3, 6), run(8, 12), run(1, 2)],
            owner: vec![0, 1, 0, 2, 3],
        };
        let out = halved(&map, 2);
        assert_eq!(out.row_start, [0, 3, 4]);
        assert_eq!(out.runs, [run(0, 2), run(2, 3), run(2, 3), run(0, 1)]);
        assert_eq!(out.owner, [0, 1, 2, 3]);
    }

    #[test]
    fn the_coarsest_that_is_fine_enough_is_taken() {
        let coarse = Coarse::of(&crate::synthetic::field((64, 64), &[(30.0, 30.0, 9.0)], &[]));
        let at = |zoom| coarse.at(zoom).map(|(_, halvings)| halvings);
        assert_eq!([1.0, 0.3, 0.25, 0.07, 0.0625, 0.001].map(at), [None, None, Some(2), Some(2), Some(4), Some(4)]);
        assert!(coarse.at(0.1).is_some_and(|(maps, _)| maps[0].area() > 0 && maps[0].row_start.len() == 17));
    }
}
