//! Times of day as written, with an offset from UTC only if one was written.

use chrono::NaiveTime;

/// A time of day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Clock {
    /// Local time.
    pub time: NaiveTime,
    /// Offset from UTC in minutes.
    pub offset_minutes: Option<i16>,
}

/// Reads a time of day that fills `text`: "19:30", "7.30 pm", "19:30:05+02:00", "19h30", "7pm", "19 Uhr".
pub fn clock(text: &str) -> Option<Clock> {
    let text = text.trim().to_lowercase();
    let (text, offset_minutes) = offset(&text)?;
    let (text, half) = match text.trim_end_matches('.').strip_suffix('m').map(|t| t.trim_end_matches('.')) {
        Some(rest) if rest.ends_with(['a', 'p']) => {
            let half = if rest.ends_with('p') { 12 } else { 0 };
            (rest[..rest.len() - 1].trim(), Some(half))
        }
        _ => (text.trim(), None),
    };
    let (text, spoken) = ["uhr", "heures", "uur", "horas", "hours", "hrs", "h"]
        .iter()
        .find_map(|word| text.strip_suffix(word))
        .map_or((text, false), |rest| (rest.trim(), true));
    let parts: Vec<&str> = text.split([':', 'h', '.']).map(str::trim).collect();
    let bare = parts.len() == 1;
    if parts.len() > 3 || (bare && half.is_none() && !spoken) {
        return None;
    }
    if parts
        .iter()
        .enumerate()
        .any(|(i, p)| p.is_empty() || p.len() > 2 || (i > 0 && p.len() != 2) || !p.bytes().all(|b| b.is_ascii_digit()))
    {
        return None;
    }
    let mut numbers = parts.iter().map(|p| p.parse::<u32>().ok());
    let mut hour = numbers.next()??;
    let minute = numbers.next().flatten().unwrap_or(0);
    let second = numbers.next().flatten().unwrap_or(0);
    if let Some(half) = half {
        if !(1..=12).contains(&hour) {
            return None;
        }
        hour = hour % 12 + half;
    }
    NaiveTime::from_hms_opt(hour, minute, second).map(|time| Clock { time, offset_minutes })
}

fn offset(text: &str) -> Option<(&str, Option<i16>)> {
    if let Some(rest) = text.strip_suffix('z') {
        return Some((rest, Some(0)));
    }
    let Some(at) = text.rfind(['+', '-']) else { return Some((text, None)) };
    let zone = &text[at + 1..];
    let (hours, minutes) = match zone.split_once(':') {
        Some(parts) => parts,
        None if zone.len() == 4 => (zone.get(..2)?, zone.get(2..)?),
        None => (zone, "0"),
    };
    let hours: i16 = hours.parse().ok()?;
    let minutes: i16 = minutes.parse().ok()?;
    if hours > 14 || minutes > 59 {
        return None;
    }
    let sign = if text.as_bytes()[at] == b'-' { -1 } else { 1 };
    Some((&text[..at], Some(sign * (hours * 60 + minutes))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hour: u32, minute: u32) -> Option<Clock> {
        NaiveTime::from_hms_opt(hour, minute, 0).map(|time| Clock { time, offset_minutes: None })
    }

    #[test]
    fn times() {
        assert_eq!(clock("19:30"), at(19, 30));
        assert_eq!(clock("7.30 pm"), at(19, 30));
        assert_eq!(clock("7pm"), at(19, 0));
        assert_eq!(clock("12:05 a.m."), at(0, 5));
        assert_eq!(clock("19h30"), at(19, 30));
        assert_eq!(clock("19 Uhr"), at(19, 0));
        assert_eq!(clock("19.30 Uhr"), at(19, 30));
    }

    #[test]
    fn offsets_only_if_written() {
        assert_eq!(clock("19:30+02:00").and_then(|c| c.offset_minutes), Some(120));
        assert_eq!(clock("19:30-0530").and_then(|c| c.offset_minutes), Some(-330));
        assert_eq!(clock("19:30Z").and_then(|c| c.offset_minutes), Some(0));
    }

    #[test]
    fn not_times() {
        for text in ["", "19", "25:00", "19:60", "8.2.1.1", "pm", "13pm", "noon", "ä:ö", "+", "1+é", "1+aéb"] {
            assert_eq!(clock(text), None, "{text}");
        }
    }
}
