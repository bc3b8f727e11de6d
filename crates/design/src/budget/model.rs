//! An error as a sum of terms: coefficient times one or two independent standardised factors.
//!
//! | symbol | name                       | unit |
//! |--------|----------------------------|------|
//! | c      | [`Term::coefficient_g`]    | g    |
//! | X      | [`Factor`]                 | –, zero mean |
//! | u      | [`Model::u_g`]             | g    |
//!
//! error = Σ c X_a or c X_a X_b; u² = Σ c² Var X_a (Var X_b). Exact as long as no two terms share all their factors, which
//! [`Model::push`] keeps: such terms are uncorrelated even where they share one, as all factors have zero mean.

/// A source of error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Bow of the cells' characteristic.
    Nonlinearity,
    /// Difference between loading and unloading.
    Hysteresis,
    /// Creep under load.
    Creep,
    /// Scatter of repeated loading.
    Repeatability,
    /// Zero drift with temperature since the last zero.
    TemperatureZero,
    /// Sensitivity drift with temperature since calibration.
    TemperatureSpan,
    /// Noise of cell and converter.
    Noise,
    /// Width of a count.
    Step,
    /// Angles of the sections.
    Tilt,
    /// Push along the sections.
    Lean,
    /// Gravity at two places.
    Gravity,
    /// Air.
    Buoyancy,
    /// Calibration masses.
    ReferenceMass,
    /// Fit of the calibration.
    Calibration,
    /// Load past the cells.
    Shunt,
    /// Where on the deck the load lies: tilted, side-loaded cells.
    Position,
}

impl Source {
    /// All sources in the order of the chain.
    pub const ALL: [Source; 16] = [
        Source::Nonlinearity,
        Source::Hysteresis,
        Source::Creep,
        Source::Repeatability,
        Source::TemperatureZero,
        Source::TemperatureSpan,
        Source::Noise,
        Source::Step,
        Source::Tilt,
        Source::Lean,
        Source::Gravity,
        Source::Buoyancy,
        Source::ReferenceMass,
        Source::Calibration,
        Source::Shunt,
        Source::Position,
    ];

    /// Name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Source::Nonlinearity => "cell nonlinearity",
            Source::Hysteresis => "cell hysteresis",
            Source::Creep => "cell creep",
            Source::Repeatability => "cell repeatability",
            Source::TemperatureZero => "temperature on zero",
            Source::TemperatureSpan => "temperature on span",
            Source::Noise => "converter noise",
            Source::Step => "converter step",
            Source::Tilt => "tilt",
            Source::Lean => "lean",
            Source::Gravity => "gravity",
            Source::Buoyancy => "buoyancy",
            Source::ReferenceMass => "reference mass",
            Source::Calibration => "calibration",
            Source::Shunt => "shunt",
            Source::Position => "position",
        }
    }

    /// Distribution and, of many cells, whether they err together; `first` is the factor that its terms are drawn with.
    fn kind(self, first: Factor) -> &'static str {
        match self {
            Source::Nonlinearity | Source::Hysteresis | Source::Repeatability | Source::Position => {
                "rectangular, each cell for itself"
            }
            Source::Creep => "rectangular, all cells of a type together",
            Source::TemperatureZero => "rectangular, each cell for itself, times change of temperature",
            Source::TemperatureSpan => "rectangular, all cells of a type together, times change of temperature",
            Source::Noise => "normal, each cell for itself",
            // A run against masses scatters; a stated tolerance of the rated output bounds.
            Source::Calibration => match first {
                Factor::Rectangular => "rectangular, each cell for itself",
                Factor::Normal => "normal, each cell for itself",
            },
            Source::Step => "rectangular, each cell for itself",
            Source::Tilt => "normal, each section for itself",
            Source::Lean => "rectangular, each section for itself",
            Source::Gravity => "normal",
            Source::Buoyancy | Source::ReferenceMass => "rectangular",
            Source::Shunt => "rectangular",
        }
    }
}

/// A random factor of zero mean, by its place in the model's list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Factor {
    /// Even on −1 to 1, variance 1/3.
    Rectangular,
    /// Gaussian of variance 1.
    Normal,
}

impl Factor {
    /// Variance.
    pub fn variance(self) -> f64 {
        match self {
            Factor::Rectangular => 1.0 / 3.0,
            Factor::Normal => 1.0,
        }
    }
}

/// One term of the error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// Source.
    pub source: Source,
    /// Coefficient, g.
    pub coefficient_g: f64,
    /// First factor, its place in [`Model::factors`].
    pub first: usize,
    /// Second factor.
    pub second: Option<usize>,
}

/// The error of one weight.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Model {
    /// Independent factors.
    pub factors: Vec<Factor>,
    /// Terms.
    pub terms: Vec<Term>,
}

impl Model {
    /// Adds a factor and returns its place.
    pub fn factor(&mut self, factor: Factor) -> usize {
        self.factors.push(factor);
        self.factors.len() - 1
    }

    /// Adds a term with a factor of its own.
    pub fn own(&mut self, source: Source, coefficient_g: f64, factor: Factor) {
        let first = self.factor(factor);
        self.push(source, coefficient_g, first, None);
    }

    /// Adds a term; terms of one source with the same factors are drawn together.
    pub fn push(&mut self, source: Source, coefficient_g: f64, first: usize, second: Option<usize>) {
        let same = |t: &&mut Term| t.source == source && t.first == first && t.second == second;
        if let Some(term) = self.terms.iter_mut().find(same) {
            term.coefficient_g += coefficient_g;
        } else {
            self.terms.push(Term { source, coefficient_g, first, second });
        }
    }

    /// The terms of one source alone, on the same factors.
    #[must_use]
    pub fn only(&self, source: Source) -> Model {
        let terms = self.terms.iter().filter(|t| t.source == source).copied().collect();
        Model { factors: self.factors.clone(), terms }
    }

    fn variance_g2(&self, term: &Term) -> f64 {
        let second = term.second.map_or(1.0, |s| self.factors[s].variance());
        term.coefficient_g.powi(2) * self.factors[term.first].variance() * second
    }

    /// Standard uncertainty of one source, g.
    pub fn u_of_g(&self, source: Source) -> f64 {
        // From 0.0: the sum of nothing would be −0.
        self.terms.iter().filter(|t| t.source == source).fold(0.0, |sum, t| sum + self.variance_g2(t)).sqrt()
    }

    /// Distribution of one source and, of many cells, whether they err together.
    pub fn kind(&self, source: Source) -> &'static str {
        let first = self.terms.iter().find(|t| t.source == source).map(|t| self.factors[t.first]);
        source.kind(first.unwrap_or(Factor::Normal))
    }

    /// Combined standard uncertainty, g.
    pub fn u_g(&self) -> f64 {
        self.terms.iter().map(|t| self.variance_g2(t)).sum::<f64>().sqrt()
    }
}
