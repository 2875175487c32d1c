//! Trying one thing against another, as a sentence: what can be changed is
//! changed alone, time is kept or spread, incoming panels are sanded in turns.

use crate::causes::Rival;
use crate::report::words::caution::Touch;
use crate::report::words::counting::list;
use crate::report::words::reasons::column;

/// Whether nobody can set it: it only passes.
fn is_time(rival: &Rival) -> bool {
    matches!(
        rival,
        Rival::Day
            | Rival::Weekday
            | Rival::Shift
            | Rival::Hour
            | Rival::PartOfDay
            | Rival::FirstOfDay
            | Rival::Step
    )
}

/// What a trial of it touches: incoming panels, inspection and time are none of
/// the cell's.
pub(in crate::report::words) fn touch(rival: &Rival) -> Option<Touch> {
    match rival {
        Rival::Lot | Rival::Supplier | Rival::Part | Rival::Film | Rival::Panel => None,
        Rival::Inspector | Rival::Table => None,
        rival if is_time(rival) => None,
        Rival::Machine | Rival::Head | Rival::Fixture => Some(Touch::Cell),
        Rival::AbrasiveAge | Rival::AbrasiveId | Rival::Grit => Some(Touch::Abrasive),
        _ => Some(Touch::Recipe),
    }
}

/// What a trial that makes the two meet touches.
pub(in crate::report::words) fn touch_to_meet(rival: &Rival, held: &Rival) -> Option<Touch> {
    touch(if is_time(rival) { held } else { rival })
}

/// A sentence for trying a factor alone.
pub(in crate::report::words) fn alone(factor: &Rival) -> String {
    let name = column(factor);
    match factor {
        Rival::AbrasiveAge => {
            "Sand panels of one lot with fresh and with worn abrasive in turns, all else alike."
                .into()
        }
        Rival::AbrasiveId | Rival::Grit => {
            format!("Change {name} alone, old and new in turns, in blocks, on the same lot.")
        }
        Rival::Lot | Rival::Supplier | Rival::Part | Rival::Film | Rival::Panel => {
            format!("Sand panels that differ in {name} in turns, in blocks, all else alike.")
        }
        Rival::Inspector | Rival::Table => {
            format!("Inspect the same panels twice, with another {name} the second time.")
        }
        Rival::Machine | Rival::Head | Rival::Fixture => {
            format!(
                "Sand panels of one lot with one {name} and with another in turns, in blocks, all else alike."
            )
        }
        time if is_time(time) => format!(
            "Find out what goes with the {name} and write it down with each panel: air, people, cleaning, \
             warming up; time itself marks no panel."
        ),
        _ => format!(
            "Change {name} alone, old and new in turns, in blocks, on the same lot and abrasive."
        ),
    }
}

/// A sentence for making two that never met meet: `rival` with these levels
/// against another, with `held` kept.
pub(in crate::report::words) fn meet(rival: &Rival, levels: &[String], held: &Rival) -> String {
    let (name, kept) = (column(rival), column(held));
    if is_time(rival) && is_time(held) {
        return format!(
            "Find out what goes with the {name} and what with the {kept}, and write it down with each panel: \
             the records hardly part the two, and neither can be set."
        );
    }
    if is_time(rival) {
        let when = match rival {
            Rival::Shift => "in every shift",
            Rival::Hour | Rival::PartOfDay => "at every time of the day",
            Rival::Weekday => "on every day of the week",
            Rival::FirstOfDay => "at the start of the day and later",
            _ => "on one day",
        };
        return format!(
            "Let {kept} differ {when}, in turns, in blocks: so far too few panels part the two."
        );
    }
    let same = match held {
        Rival::Day | Rival::Step => "on one day".to_owned(),
        Rival::Shift => "within one shift".to_owned(),
        Rival::Weekday => "on the same day of the week".to_owned(),
        Rival::Hour | Rival::PartOfDay | Rival::FirstOfDay => {
            "at the same time of the day".to_owned()
        }
        _ => format!("with {kept} held the same"),
    };
    let named = if levels.is_empty() {
        String::new()
    } else {
        format!(" ({} and another)", list(levels.iter().cloned()))
    };
    let start = match rival {
        Rival::Lot | Rival::Supplier | Rival::Part | Rival::Film | Rival::Panel => {
            format!("Sand panels that differ in {name}{named}")
        }
        Rival::Inspector | Rival::Table => format!("Inspect with one {name} and another{named}"),
        _ => format!("Change {name} alone{named},"),
    };
    format!("{start} in turns, in blocks, {same}: so far too few panels part the two.")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_told_to_change_time_or_a_lot() {
        let times = [
            Rival::Day,
            Rival::Weekday,
            Rival::Shift,
            Rival::Hour,
            Rival::PartOfDay,
            Rival::FirstOfDay,
            Rival::Step,
        ];
        for rival in times
            .iter()
            .chain(&[Rival::Lot, Rival::Supplier, Rival::Part])
        {
            assert!(!alone(rival).contains("Change"), "{}", alone(rival));
            assert_eq!(touch(rival), None);
            for held in [Rival::Lot, Rival::Feed, Rival::Day] {
                let said = meet(rival, &[], &held);
                assert!(!said.contains("Change"), "{said}");
            }
        }
        for held in &times {
            let said = meet(&Rival::Feed, &["A".into()], held);
            assert!(
                said.contains("A and another") && !said.contains("held"),
                "{said}"
            );
        }
        assert_eq!(
            meet(&Rival::Feed, &[], &Rival::Lot),
            "Change feed speed alone, in turns, in blocks, with lot held the same: so far too few panels part the two."
        );
    }

    #[test]
    fn a_trial_touches_what_is_set_in_it() {
        assert_eq!(touch(&Rival::Feed), Some(Touch::Recipe));
        assert_eq!(
            touch_to_meet(&Rival::Day, &Rival::AbrasiveId),
            Some(Touch::Abrasive)
        );
        assert_eq!(touch_to_meet(&Rival::Lot, &Rival::Feed), None);
    }

    #[test]
    fn what_is_changed_is_not_kept() {
        assert!(!alone(&Rival::AbrasiveId).contains("same lot and abrasive"));
        assert!(alone(&Rival::Feed).contains("same lot and abrasive"));
    }
}
