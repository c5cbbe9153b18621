//! The ladder of response models.

/// A rung of the ladder of models: which stages and laws it has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Rung {
    pub store: bool,
    pub window: bool,
    /// The spread of thresholds has a part independent of the spread of speeds.
    pub independent_spread: bool,
    /// VFT in place of Arrhenius.
    pub vft: bool,
}

impl Rung {
    /// Simplest first; each is judged against the best before it.
    pub const LADDER: [Rung; 5] = {
        let crossing = Rung {
            store: false,
            window: false,
            independent_spread: false,
            vft: false,
        };
        let store = Rung {
            store: true,
            ..crossing
        };
        let window = Rung {
            window: true,
            ..store
        };
        [
            crossing,
            store,
            window,
            Rung {
                vft: true,
                ..window
            },
            Rung {
                independent_spread: true,
                ..window
            },
        ]
    };

    /// The rungs of a quick fit: all stages at once, then the richer law of temperature.
    pub const QUICK: [Rung; 2] = [Rung::LADDER[2], Rung::LADDER[3]];

    /// Whether the rung differs from the one below by a stage: those are searched from several starts.
    pub fn opens_a_stage(self) -> bool {
        !self.independent_spread && !self.vft
    }

    /// In words.
    pub fn name(self) -> String {
        let mut words = vec!["crossing"];
        let more = [
            (self.store, "store"),
            (self.window, "window"),
            (self.independent_spread, "independent thresholds"),
            (self.vft, "VFT"),
        ];
        words.extend(more.iter().filter(|(has, _)| *has).map(|(_, word)| *word));
        words.join(" + ")
    }
}
