//! The verdict table: from facts about a repeat to a kind and a cause. The first row that fits decides.

use super::{Cause, Certainty, Frame, Kind};

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

impl Holds {
    /// The frame in which it does.
    pub(super) fn frame(self) -> Option<Frame> {
        match self {
            Holds::Machine => Some(Frame::Machine),
            Holds::Panel => Some(Frame::Panel),
            Holds::Inspection => Some(Frame::Inspection),
            Holds::Untold => None,
        }
    }
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

impl Facts {
    /// Whether it is a place, or a broad concentration that kept to a frame while
    /// panels were turned.
    pub(super) fn placed(&self) -> bool {
        self.sharp || self.holds != Holds::Untold
    }
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

    // A broad concentration has no place, unless turning moved it with somebody;
    // what one inspector alone sees is not proved.
    if !facts.placed() {
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

    #[test]
    fn each_row_decides() {
        type Change = fn(&mut Facts);
        let table: [(Change, Kind, Cause); 17] = [
            (|_| (), Kind::Spot, Cause::Machine),
            (
                |f| (f.sharp, f.holds) = (false, Holds::Untold),
                Kind::Wandering,
                Cause::Undecided,
            ),
            (|f| f.sharp = false, Kind::Spot, Cause::Machine),
            (
                |f| (f.sharp, f.holds) = (false, Holds::Panel),
                Kind::RidesPanel,
                Cause::Part,
            ),
            (|f| f.enough = false, Kind::Spot, Cause::Undecided),
            (|f| f.elsewhere = true, Kind::Spot, Cause::Undecided),
            (|f| f.one_inspector = true, Kind::Spot, Cause::Undecided),
            (
                |f| f.holds = Holds::Inspection,
                Kind::Spot,
                Cause::Inspection,
            ),
            (
                |f| (f.holds, f.control_clears) = (Holds::Panel, true),
                Kind::RidesPanel,
                Cause::Part,
            ),
            (
                |f| (f.holds, f.lots) = (Holds::Untold, Lots::Gathered),
                Kind::Lot,
                Cause::Part,
            ),
            (|f| f.lots = Lots::Gathered, Kind::Spot, Cause::Undecided),
            (
                |f| f.recipe = Recipe::AbrasiveAge,
                Kind::Abrasive,
                Cause::Recipe,
            ),
            (|f| f.recipe = Recipe::Name, Kind::Spot, Cause::Recipe),
            (
                |f| f.recipe = Recipe::OneStretch,
                Kind::Spot,
                Cause::Undecided,
            ),
            (|f| f.lots = Lots::TooFew, Kind::Spot, Cause::Undecided),
            (|f| f.holds = Holds::Untold, Kind::Spot, Cause::Undecided),
            (
                |f| {
                    (f.holds, f.control_clears) = (Holds::Untold, true);
                    (f.lots, f.looks) = (Lots::NotRecorded, Looks::Line);
                },
                Kind::Line,
                Cause::Machine,
            ),
        ];
        for (change, kind, cause) in table {
            let mut facts = SOLID;
            change(&mut facts);
            assert_eq!(of_repeat(&facts), Verdict { kind, cause }, "{facts:?}");
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
                                assert!(!one_inspector, "{facts:?}");
                                assert!(sharp || holds == Holds::Machine, "{facts:?}");
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
        assert_eq!(accused, 10);
    }
}
