//! The nearest known word to one that was mistyped.

/// The word of `known` with the least edit distance to `word`, and that distance; the first of equals.
pub(super) fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<(&'a str, usize)> {
    known.map(|k| (k, distance(word, k))).min_by_key(|(_, d)| *d)
}

/// Whether a word at that distance is likely the one that was meant: at most a third of it differs.
pub(super) fn likely(word: &str, distance: usize) -> bool {
    distance <= (word.chars().count() / 3).max(1)
}

/// Longest word that is compared; the rest of a longer one is not looked at, so that the work stays bounded.
const MAX_COMPARED: usize = 64;

/// Edits between two words, whatever their case: insertions, deletions, substitutions and swaps of neighbours
/// (optimal string alignment, Damerau 1964).
fn distance(a: &str, b: &str) -> usize {
    let letters = |s: &str| s.chars().flat_map(char::to_lowercase).take(MAX_COMPARED).collect::<Vec<_>>();
    let (a, b) = (letters(a), letters(b));
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let edited = last[j] + usize::from(x != y);
            let mut best = edited.min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *x == b[j - 1] && a[i - 1] == *y {
                best = best.min(before[j - 1] + 1);
            }
            row.push(best);
        }
        before = std::mem::replace(&mut last, row);
    }
    last.last().copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn counts_the_edits_a_hand_makes() {
        for (a, b, edits) in
            [("watts", "watts", 0), ("wats", "watts", 1), ("wtats", "watts", 1), ("WATTS", "watts", 0), ("", "abc", 3)]
        {
            assert_eq!(distance(a, b), edits, "{a} to {b}");
        }
    }

    proptest! {
        #[test]
        fn is_a_distance(a in ".{0,12}", b in ".{0,12}") {
            prop_assert_eq!(distance(&a, &a), 0);
            prop_assert_eq!(distance(&a, &b), distance(&b, &a));
        }
    }
}
