//! The verdict table: from facts about a repeat to a kind and a cause. The first row that fits decides.

use super::{Cause, Certainty, Kind};

/// By how much below the level of the report the chance must lie for "sure".
pub const SURE_FACTOR: f64 = 0.1;

/// How sure a verdict is: the weaker of detection and attribution. Any open
/// rival lowers it, and so does an inspection table whose lay nobody recorded.
pub(super) fn certainty(
    cause: Cause,
    p_adjusted: Option<f64>,
    alpha: f64,
    lowered: bool,
) -> Certainty {
    match (cause, p_adjusted) {
        (Cause::Undecided, _) => Certainty::CannotTell,
        (_, Some(p)) if p <= SURE_FACTOR * alpha && !lowered => Certainty::Sure,
        _ => Certainty::Likely,
    }
}

/// What a repeat looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Looks {
    /// A place.
    Spot,
    /// A stripe.
    Line,
    /// Every k-th panel.
    Periodic,
    /// Fixed distances from the edges over panels of several sizes.
    Dwell,
    /// One side.
    Side,
}

/// Where the likelihoods say that the place holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    /// In the machine (or in its edge-relative frame), a hundredfold over the
    /// panel and, where its lay is recorded, over the inspection table.
    Machine,
    /// On the panel, a hundredfold over the machine.
    Panel,
    /// At the inspection table, a hundredfold over machine and panel.
    Inspection,
    /// The data can't tell.
    Untold,
}

/// What the lots say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lots {
    /// Not recorded: neither helps nor clears.
    NotRecorded,
    /// No lot made it.
    Cleared,
    /// It gathers in few lots and the rest is unremarkable.
    Gathered,
    /// One lot, or seen in too few.
    TooFew,
}

/// What of the recipe explains it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Recipe {
    /// Nothing.
    Nothing,
    /// The abrasive's age.
    AbrasiveAge,
    /// One recipe that ran in more than one stretch.
    Name,
    /// A recipe that ran in one stretch only: anything else that began then
    /// explains it as well.
    OneStretch,
}

/// Everything the table asks about a repeat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Facts {
    /// What it looks like.
    pub looks: Looks,
    /// Whether it is a place at all, not a broad concentration.
    pub sharp: bool,
    /// Whether it is seen on panels enough, beyond chance, to name anybody.
    pub enough: bool,
    /// Whether one inspector only sees it.
    pub one_inspector: bool,
    /// Where it holds.
    pub holds: Holds,
    /// Whether a control clears the part.
    pub control_clears: bool,
    /// Whether another machine shows it at the same place as often: what both
    /// share may make it.
    pub elsewhere: bool,
    /// What the lots say.
    pub lots: Lots,
    /// What of the recipe explains it.
    pub recipe: Recipe,
}

/// Kind and cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Verdict {
    /// What the finding is called.
    pub kind: Kind,
    /// Who makes it.
    pub cause: Cause,
}

/// The table for a repeat.
pub(super) fn of_repeat(facts: &Facts) -> Verdict {
    let looks = match facts.looks {
        Looks::Spot => Kind::Spot,
        Looks::Line => Kind::Line,
        Looks::Periodic => Kind::Periodic,
        Looks::Dwell => Kind::Dwell,
        Looks::Side => Kind::Side,
    };
    let contrast = facts.holds == Holds::Machine || facts.control_clears;
    let lots_allow = matches!(facts.lots, Lots::Cleared | Lots::NotRecorded);
    let row = |kind, cause| Verdict { kind, cause };

    // A broad concentration has no place; what one inspector alone sees is not proved.
    if !facts.sharp {
        return row(Kind::Wandering, Cause::Undecided);
    }
    if facts.one_inspector || !facts.enough {
        return row(looks, Cause::Undecided);
    }
    // The inspection frame wins the likelihood.
    if facts.holds == Holds::Inspection {
        return row(looks, Cause::Inspection);
    }
    // It rode the panel while panels were turned.
    if facts.holds == Holds::Panel {
        return row(Kind::RidesPanel, Cause::Part);
    }
    // It gathers in few lots. (Where it also held in the machine while panels
    // were turned, lot and machine contradict each other: undecided below.)
    if facts.lots == Lots::Gathered && !contrast {
        return row(Kind::Lot, Cause::Part);
    }
    // Abrasive age or one recipe explains it.
    match facts.recipe {
        Recipe::AbrasiveAge => return row(Kind::Abrasive, Cause::Recipe),
        Recipe::Name => return row(looks, Cause::Recipe),
        Recipe::OneStretch => return row(looks, Cause::Undecided),
        Recipe::Nothing => {}
    }
    // A contrast, and lots cleared or not recorded: the machine.
    if contrast && lots_allow && !facts.elsewhere {
        return row(looks, Cause::Machine);
    }
    // A contrast but lots not cleared ("more lots"), or no contrast at all.
    row(looks, Cause::Undecided)
}

/// A repeat on this share of panels must have been visible before a wandering
/// stream is put down to the parts.
pub(super) const SEEN_SHARE: f64 = 0.20;

#[cfg(test)]
mod tests {
    use super::*;

    const SOLID: Facts = Facts {
        looks: Looks::Spot,
        sharp: true,
        enough: true,
        one_inspector: false,
        holds: Holds::Machine,
        control_clears: false,
        elsewhere: false,
        lots: Lots::Cleared,
        recipe: Recipe::Nothing,
    };

    fn cause(facts: Facts) -> (Kind, Cause) {
        let verdict = of_repeat(&facts);
        (verdict.kind, verdict.cause)
    }

    #[test]
    fn each_row_decides() {
        let table = [
            (SOLID, (Kind::Spot, Cause::Machine)),
            (
                Facts {
                    sharp: false,
                    ..SOLID
                },
                (Kind::Wandering, Cause::Undecided),
            ),
            (
                Facts {
                    enough: false,
                    ..SOLID
                },
                (Kind::Spot, Cause::Undecided),
            ),
            (
                Facts {
                    elsewhere: true,
                    ..SOLID
                },
                (Kind::Spot, Cause::Undecided),
            ),
            (
                Facts {
                    one_inspector: true,
                    ..SOLID
                },
                (Kind::Spot, Cause::Undecided),
            ),
            (
                Facts {
                    holds: Holds::Inspection,
                    ..SOLID
                },
                (Kind::Spot, Cause::Inspection),
            ),
            (
                Facts {
                    holds: Holds::Panel,
                    control_clears: true,
                    ..SOLID
                },
                (Kind::RidesPanel, Cause::Part),
            ),
            (
                Facts {
                    holds: Holds::Untold,
                    lots: Lots::Gathered,
                    ..SOLID
                },
                (Kind::Lot, Cause::Part),
            ),
            (
                Facts {
                    lots: Lots::Gathered,
                    ..SOLID
                },
                (Kind::Spot, Cause::Undecided),
            ),
            (
                Facts {
                    recipe: Recipe::AbrasiveAge,
                    ..SOLID
                },
                (Kind::Abrasive, Cause::Recipe),
            ),
            (
                Facts {
                    recipe: Recipe::Name,
                    ..SOLID
                },
                (Kind::Spot, Cause::Recipe),
            ),
            (
                Facts {
                    recipe: Recipe::OneStretch,
                    ..SOLID
                },
                (Kind::Spot, Cause::Undecided),
            ),
            (
                Facts {
                    lots: Lots::TooFew,
                    ..SOLID
                },
                (Kind::Spot, Cause::Undecided),
            ),
            (
                Facts {
                    holds: Holds::Untold,
                    ..SOLID
                },
                (Kind::Spot, Cause::Undecided),
            ),
            (
                Facts {
                    holds: Holds::Untold,
                    control_clears: true,
                    lots: Lots::NotRecorded,
                    looks: Looks::Line,
                    ..SOLID
                },
                (Kind::Line, Cause::Machine),
            ),
        ];
        for (facts, expected) in table {
            assert_eq!(cause(facts), expected, "{facts:?}");
        }
    }

    /// Over every combination of facts.
    #[test]
    fn the_machine_is_never_accused_without_contrast_and_lots() {
        let mut accused = 0;
        for sharp in [true, false] {
            for one_inspector in [true, false] {
                for holds in [
                    Holds::Machine,
                    Holds::Panel,
                    Holds::Inspection,
                    Holds::Untold,
                ] {
                    for control_clears in [true, false] {
                        for lots in [
                            Lots::NotRecorded,
                            Lots::Cleared,
                            Lots::Gathered,
                            Lots::TooFew,
                        ] {
                            let facts = Facts {
                                sharp,
                                one_inspector,
                                holds,
                                control_clears,
                                lots,
                                ..SOLID
                            };
                            if of_repeat(&facts).cause == Cause::Machine {
                                accused += 1;
                                assert!(sharp && !one_inspector, "{facts:?}");
                                assert!(holds == Holds::Machine || control_clears, "{facts:?}");
                                assert!(
                                    matches!(lots, Lots::Cleared | Lots::NotRecorded),
                                    "{facts:?}"
                                );
                            }
                        }
                    }
                }
            }
        }
        assert_eq!(accused, 6);
    }
}
