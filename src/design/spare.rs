//! Room for many maps, which each thread keeps from one scheme to the next: to give it back to the system and ask for it
//! anew takes longer than to fill it.

use crate::pigment::{Lanes, Map};
use std::cell::RefCell;
use std::ops::{Deref, DerefMut};

/// Larger ones are given back.
const KEPT_MAPS: usize = 1024;
/// More than a scheme of three fields needs at once.
const KEPT_LISTS: usize = 128;

thread_local! {
    static SPARE: RefCell<Vec<Vec<Map<Lanes>>>> = const { RefCell::new(Vec::new()) };
}

/// A list of maps; empty at first.
pub(super) struct Maps(Vec<Map<Lanes>>);

impl Maps {
    pub fn new() -> Self {
        Maps(SPARE.with_borrow_mut(Vec::pop).unwrap_or_default())
    }
}

impl Drop for Maps {
    fn drop(&mut self) {
        let mut list = std::mem::take(&mut self.0);
        list.clear();
        let keep = |spare: &mut Vec<Vec<Map<Lanes>>>| {
            if list.capacity() <= KEPT_MAPS && spare.len() < KEPT_LISTS {
                spare.push(list);
            }
        };
        // A thread that ends has none to keep it.
        let _ = SPARE.try_with(|spare| keep(&mut spare.borrow_mut()));
    }
}

impl Deref for Maps {
    type Target = Vec<Map<Lanes>>;
    fn deref(&self) -> &Self::Target {
        &self.0
    }
}

impl DerefMut for Maps {
    fn deref_mut(&mut self) -> &mut Self::Target {
        &mut self.0
    }
}
