//! Buffers that a thread keeps from one piece of work to the next.
//!
//! rayon's own `map_init` makes new ones for every piece it splits off, which costs fresh pages from the system each time.

use std::any::Any;
use std::cell::RefCell;

thread_local! {
    static KEPT: RefCell<Vec<Box<dyn Any>>> = const { RefCell::new(Vec::new()) };
}

/// Runs `work` with the thread's own `T`, made on first use. Work that comes back to the same thread meanwhile gets another one.
pub(crate) fn with<T: Default + 'static, R>(work: impl FnOnce(&mut T) -> R) -> R {
    let kept = KEPT.with_borrow_mut(|kept| kept.iter().position(|k| k.is::<T>()).map(|i| kept.swap_remove(i)));
    let mut own = kept.and_then(|k| k.downcast::<T>().ok()).unwrap_or_default();
    let result = work(&mut own);
    KEPT.with_borrow_mut(|kept| kept.push(own));
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thread_keeps_its_buffer_and_nested_work_gets_another() {
        with(|kept: &mut Vec<u8>| {
            kept.push(1);
            with(|other: &mut Vec<u8>| assert!(other.is_empty()));
        });
        with(|first: &mut Vec<u8>| with(|second: &mut Vec<u8>| assert_eq!(first.len() + second.len(), 1)));
    }
}
