//! The chances that the likelihood is made of.
//!
//! A blade is cracked or sound. Given which, each technique calls it with a chance of its own, independently of
//! the others; dependent techniques come in pairs, and the second of a pair has one chance after a call of the
//! first and another after its silence, so that any dependence within a pair is possible. All parameters are
//! logits of chances: of being cracked, and of calls.

use nalgebra::DVector;

/// Logit of a chance, kept away from no and all so far that no count can tell.
pub(super) fn logit(chance: f64) -> f64 {
    /// Below it a chance is none for any number of blades.
    const NONE: f64 = 1e-12;
    let chance = chance.clamp(NONE, 1.0 - NONE);
    (chance / (1.0 - chance)).ln()
}

/// The chance of a logit.
pub(super) fn chance(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

/// Cracked or sound, as an index.
pub(super) const SOUND: usize = 0;
pub(super) const CRACKED: usize = 1;

/// Parameter of the chance that a blade is cracked.
pub(super) const PREVALENCE: usize = 0;

/// The chance of a call of one technique on blades of one class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Calls {
    /// Independent of the answers of the others.
    Alone { parameter: usize },
    /// One after a call of the first of its pair, and one after its silence.
    After { first: usize, call: Term, silence: Term },
}

impl Calls {
    /// Its parameters, in a fixed order.
    pub fn parameters(self) -> Vec<usize> {
        match self {
            Calls::Alone { parameter } => vec![parameter],
            Calls::After { call, silence, .. } => vec![call.parameter, silence.parameter],
        }
    }
}

/// A logit: a parameter, and a number that is added to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Term {
    pub parameter: usize,
    pub added: f64,
}

impl Term {
    pub fn of(parameter: usize) -> Self {
        Term { parameter, added: 0.0 }
    }

    fn chance(self, theta: &DVector<f64>) -> f64 {
        chance(theta[self.parameter] + self.added)
    }
}

/// Which parameters the chances of all techniques on blades of both classes are made of.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Structure {
    pub parameters: usize,
    /// For each technique, on sound and on cracked blades.
    pub calls: Vec<[Calls; 2]>,
}

impl Structure {
    /// Techniques that err independently but for pairs, each given as first and second.
    pub fn new(techniques: usize, pairs: &[(usize, usize)]) -> Self {
        let mut parameters = PREVALENCE + 1;
        let mut next = || {
            parameters += 1;
            parameters - 1
        };
        let calls = (0..techniques).map(|technique| {
            [SOUND, CRACKED].map(|_| match pairs.iter().find(|(_, second)| *second == technique) {
                None => Calls::Alone { parameter: next() },
                Some((first, _)) => Calls::After { first: *first, call: Term::of(next()), silence: Term::of(next()) },
            })
        });
        let calls = calls.collect();
        Structure { parameters, calls }
    }

    /// The same with one more pair, whose dependence on cracked blades is given and not estimated: the odds of a
    /// call of the second are so many times as high after a call of the first. Neither may be of another pair.
    pub fn with_odds_ratio(mut self, (first, second): (usize, usize), odds_ratio: f64) -> Self {
        if let Calls::Alone { parameter } = self.calls[second][CRACKED] {
            let (call, silence) = (Term { parameter, added: odds_ratio.ln() }, Term::of(parameter));
            self.calls[second][CRACKED] = Calls::After { first, call, silence };
        }
        self
    }

    /// Chance that a technique calls a blade of a class.
    pub fn calls(&self, technique: usize, class: usize, theta: &DVector<f64>) -> f64 {
        match self.calls[technique][class] {
            Calls::Alone { parameter } => chance(theta[parameter]),
            Calls::After { first, call, silence } => {
                let before = self.calls(first, class, theta);
                before * call.chance(theta) + (1.0 - before) * silence.chance(theta)
            }
        }
    }

    /// Whether the best chance of a parameter at known classes is a count over counts, as no number is added to it.
    pub fn is_counted(&self, parameter: usize) -> bool {
        let added = |calls: &Calls| match calls {
            Calls::After { call, .. } => call.parameter == parameter && call.added != 0.0,
            Calls::Alone { .. } => false,
        };
        !self.calls.iter().flatten().any(added)
    }

    /// The technique whose calls go by those of a first one on blades of a class: its place, and its logits after a
    /// call and after silence.
    pub fn second_of(&self, technique: usize, class: usize) -> Option<(usize, Term, Term)> {
        self.calls.iter().enumerate().find_map(|(at, calls)| match calls[class] {
            Calls::After { first, call, silence } if first == technique => Some((at, call, silence)),
            _ => None,
        })
    }

    /// Chance that both techniques of any two call a blade of a class.
    pub fn both_call(&self, (one, other): (usize, usize), class: usize, theta: &DVector<f64>) -> f64 {
        for (a, b) in [(one, other), (other, one)] {
            if let Calls::After { first, call, .. } = self.calls[b][class]
                && first == a
            {
                return self.calls(a, class, theta) * call.chance(theta);
            }
        }
        self.calls(one, class, theta) * self.calls(other, class, theta)
    }

    /// The same chances as another structure has them, whose pairs are these in another order.
    pub fn translated(&self, theta: &DVector<f64>, to: &Structure) -> DVector<f64> {
        let mut translated = DVector::zeros(to.parameters);
        translated[PREVALENCE] = theta[PREVALENCE];
        for (technique, classes) in to.calls.iter().enumerate() {
            for (class, calls) in classes.iter().enumerate() {
                let own = self.calls(technique, class, theta);
                match calls {
                    Calls::Alone { parameter } => translated[*parameter] = logit(own),
                    Calls::After { first, call, silence } => {
                        let before = self.calls(*first, class, theta);
                        let both = self.both_call((*first, technique), class, theta);
                        translated[call.parameter] = logit(both / before.max(f64::MIN_POSITIVE));
                        translated[silence.parameter] = logit((own - both) / (1.0 - before).max(f64::MIN_POSITIVE));
                    }
                }
            }
        }
        translated
    }

    /// The rule that tells the classes apart: cracked are those of which the techniques, all together, call more.
    pub fn well_named(&self, theta: &DVector<f64>) -> bool {
        let more = |at| self.calls(at, CRACKED, theta) - self.calls(at, SOUND, theta);
        (0..self.calls.len()).map(more).sum::<f64>() >= 0.0
    }

    /// The same chances with the names of the classes exchanged.
    pub fn renamed(&self, theta: &DVector<f64>) -> DVector<f64> {
        let mut renamed = theta.clone();
        renamed[PREVALENCE] = -theta[PREVALENCE];
        for calls in &self.calls {
            for (a, b) in calls[SOUND].parameters().into_iter().zip(calls[CRACKED].parameters()) {
                (renamed[a], renamed[b]) = (theta[b], theta[a]);
            }
        }
        renamed
    }
}
