//! The known word nearest to a wrong one.

/// The candidate that the word was probably meant to be, if one is near enough.
pub(super) fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let (distance, candidate) = candidates
        .into_iter()
        .map(|candidate| (distance(word, candidate), candidate))
        .min_by_key(|&(distance, _)| distance)?;
    // One slip for every three letters.
    (distance <= (word.chars().count() / 3).max(1)).then_some(candidate)
}

/// Number of slips between two words. A forgotten beginning or end (a unit, the sections before a key) is one.
fn distance(word: &str, candidate: &str) -> usize {
    let beginning = candidate.strip_prefix(word).is_some_and(|rest| rest.starts_with(['_', '.']));
    let end = candidate.strip_suffix(word).is_some_and(|rest| rest.ends_with('.'));
    if !word.is_empty() && (beginning || end) {
        return 1;
    }
    strsim::damerau_levenshtein(&word.to_lowercase(), candidate)
}

/// "did you mean" for a wrong word, or all the candidates where they are few.
pub(super) fn suggestion(word: &str, candidates: &[&str]) -> Option<String> {
    match nearest(word, candidates.iter().copied()) {
        Some(near) => Some(format!("did you mean `{near}`?")),
        None if candidates.is_empty() || candidates.len() > 24 => None,
        None => Some(format!("known here: {}", candidates.join(", "))),
    }
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn identity_nearest_word() {
        let keys = ["tilt_deg", "trials", "title", "trace_frames"];
        assert_eq!(nearest("tilt", keys), Some("tilt_deg"));
        assert_eq!(nearest("trails", keys), Some("trials"));
        assert_eq!(nearest("Title", keys), Some("title"));
        assert_eq!(nearest("sensitivity", keys), None);
        assert_eq!(nearest("measure.plan", ["measure.plane", "measure.femur"]), Some("measure.plane"));
        assert_eq!(nearest("asis.anterior_mm", ["a", "noise.asis.anterior_mm"]), Some("noise.asis.anterior_mm"));
    }
}
