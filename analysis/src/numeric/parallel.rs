//! The same work on as many processors as there are: results stand in order, so that threads change no digit.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Processors that this process may use.
pub fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// `f` of each of `count` numbers, in order; each thread takes the next number that nobody has taken.
pub fn each<T: Send>(count: usize, threads: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let own = || {
        let mut found = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= count {
                return found;
            }
            found.push((at, f(at)));
        }
    };
    let mut found: Vec<(usize, T)> = std::thread::scope(|scope| {
        let running: Vec<_> = (1..threads.min(count)).map(|_| scope.spawn(own)).collect();
        let mut found = own();
        for thread in running {
            match thread.join() {
                Ok(more) => found.extend(more),
                // A panic of one thread is the panic of the whole.
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        found
    });
    found.sort_by_key(|(at, _)| *at);
    found.into_iter().map(|(_, value)| value).collect()
}

/// `f` of each item, in order, on all processors.
pub fn map<I: Sync, T: Send>(items: &[I], f: impl Fn(&I) -> T + Sync) -> Vec<T> {
    each(items.len(), threads(), |at| f(&items[at]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_order_on_any_number_of_threads() {
        let squares: Vec<usize> = (0..1000).map(|n| n * n).collect();
        for threads in [0, 1, 2, 8, 2000] {
            assert_eq!(each(1000, threads, |n| n * n), squares);
        }
        assert!(each(0, 8, |n| n).is_empty());
        assert_eq!(map(&["a", "bb"], |word| word.len()), [1, 2]);
    }
}
