//! Parts of one's own: what a part must say of itself to be in a circuit.

/// A part whose currents are a function of the voltages at its terminals, of time,
/// and of states that change at moments only.
///
/// Between two such moments [`Device::currents`] is a pure function: the solver
/// asks it for trial voltages, in any order, and for moments that it later gives
/// up. What moves slowly is written as a function of the time since an anchor that
/// [`Device::change`] sets anew; what holds charge is made of capacitors beside the
/// device.
pub trait Device: std::any::Any + std::fmt::Debug + Send {
    /// The circuit begins, at time 0; chances are drawn from `seed`.
    fn begin(&mut self, seed: u64) {
        let _ = seed;
    }

    /// Currents from the nodes into the terminals, in amperes, and their slopes
    /// `slopes[i * terminals + j]` = d`currents[i]`/d`volts[j]`, in siemens, at `time`
    /// seconds. Both come zeroed. The slopes need not be exact, but a wrong sign costs
    /// convergence.
    fn currents(&self, time: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]);

    /// Where to look instead of at `trial`, the voltages that an iteration would go to from
    /// `last`: a device whose currents bend sharply says so where one would leap over both
    /// ends of a steep stretch, and back, for ever. Only a trial is moved, never a solution.
    fn limit(&self, time: f64, last: &[f64], trial: &mut [f64]) {
        let _ = (time, last, trial);
    }

    /// Above zero: at these voltages the device changes its state at once. The solver
    /// finds the moment at which it rises through zero, to rounding, and calls
    /// [`Device::change`]. In volts, or any other measure that is continuous.
    fn urge(&self, time: f64, volts: &[f64]) -> f64 {
        let _ = (time, volts);
        f64::NEG_INFINITY
    }

    /// The next moment at which it changes whatever the voltages are, in seconds;
    /// infinite where there is none. Also asked for bends of its currents over time.
    fn next_moment(&self) -> f64 {
        f64::INFINITY
    }

    /// The moment has come: [`Device::urge`] is above zero, or [`Device::next_moment`]
    /// is not after `time`. Afterwards neither holds.
    fn change(&mut self, time: f64, volts: &[f64]) {
        let _ = (time, volts);
    }

    /// The longest step over which its change with time is still followed, in seconds.
    fn longest_step(&self) -> f64 {
        f64::INFINITY
    }
}
