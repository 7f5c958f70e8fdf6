//! Every published value that the analysis and the stand-ins are held against, and the test that does
//! it; or why none does. A row names its source; a test that was renamed or taken
//! away fails here.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test that cannot go on stops")]

use std::path::Path;

enum By {
    /// A file below src or tests, and its test.
    Test(&'static str, &'static str),
    /// No test, and why.
    None(&'static str),
}
use By::{None as No, Test};

const HAND: &str = "src/analysis/tests/by_hand.rs";
const LIMITS: &str = "src/analysis/tests/limits.rs";
const FIELD: &str = "src/analysis/tests/conduction_constants.rs";
const DECAY: &str = "src/analysis/tests/simulated.rs";
const NODE: &str = "src/analysis/tests/node.rs";
const RATES: &str = "src/analysis/tests/rates.rs";
const GUM: &str = "src/analysis/tests/uncertainty.rs";
const FITS: &str = "src/analysis/tests/certified.rs";
const SUMS: &str = "src/analysis/tests/numeric.rs";
const SERIES: &str = "src/analysis/series/tests.rs";
const STATES: &str = "src/analysis/states/tests.rs";
const REJECTION: &str = "src/rehearsal/tests/rejection.rs";
const SETTLING: &str = "src/rehearsal/tests/settling.rs";
const PUBLISHED: &str = "src/analysis/tests/published.rs";

const ROWS: &[(&str, By)] = &[
    // Capacitor leakage: limits
    (
        "solid tantalum, 25 degC: max(0.01 C V, 0.5); chips; 85 and 125 degC; x10, x12 against x12.5",
        Test(LIMITS, "solid_tantalum_by_temperature"),
    ),
    (
        "solid tantalum: category voltage, 6.3 V to 4.0 V at 125 degC",
        Test(LIMITS, "the_category_voltage_of_solid_tantalum_falls_above_85_degrees"),
    ),
    ("MIL-PRF-39003 and MIL-PRF-55365: leakage rows", No("the rows could not be obtained; only the methods' numbers are known")),
    (
        "aluminium: radial, other series, above 100 V at 2 and 5 min, low leakage, JAN-C-62; 47 uF 40 V; 20 uF 450 V and 250 V",
        Test(LIMITS, "aluminium_by_series_and_time"),
    ),
    (
        "aluminium: rated at 20 degC, 1 to 5 min after the rated voltage",
        Test(LIMITS, "every_limit_names_its_working_and_source_and_warns_of_heat"),
    ),
    (
        "ceramic: X7R typical, by rating; 50 V 10 Gohm (a translated page is wrong by ten); 10 uF 6.3 V; 0.1 uF 16 V",
        Test(LIMITS, "ceramic_by_rating"),
    ),
    (
        "film: time constant, 1 Mohm uF is 1 s, IEC 60384-1 4.5.2; 1 uF at 100 V: 3.33 nA",
        Test(LIMITS, "film_by_its_time_constant"),
    ),
    ("10 mV across 1 kohm are 10 uA", Test(LIMITS, "ten_millivolts_across_a_kilohm_are_ten_microamperes")),
    // Capacitor leakage: laws
    ("total current: charging, absorption, leakage told apart", Test(DECAY, "the_limits_of_the_leakage_hold_the_truth")),
    (
        "Curie and von Schweidler: 1 s to 60 s at m 0.8, 1.0, 1.1 (NTRS 20060026218)",
        Test(FIELD, "absorption_falls_by_a_power_of_time"),
    ),
    (
        "tantalum: Poole-Frenkel and Schottky told apart where they can be",
        Test(DECAY, "the_true_law_is_ranked_first_where_it_can_be_told"),
    ),
    (
        "Ta2O5: current density of 1e-4 A/m2 at 100 MV/m",
        No("one value of one film: no function of ours gives an absolute current density of a material"),
    ),
    (
        "Ta-Ta2O5-metal: log-log slope 1, then 3",
        Test("src/analysis/tests/sweeps.rs", "a_knee_from_slope_one_to_three_is_found_where_it_is"),
    ),
    (
        "Poole-Frenkel and Schottky constants and slopes; 4.40e-4 published, 4.382e-4 computed; eps of Ta2O5",
        Test(FIELD, "field_constants_are_the_published_ones"),
    ),
    (
        "Schottky, Poole-Frenkel, Fowler-Nordheim constants, image factor, oxide form",
        Test(FIELD, "emission_and_tunnelling_constants_are_the_published_ones"),
    ),
    (
        "Fowler-Nordheim: effective mass 0.47 of Mg-SiO2 over five decades",
        No("a measured material constant: the mass is an argument of our function"),
    ),
    ("Mott and Gurney: 298.83 A/m2, four times at 2 V", Test(FIELD, "space_charge_current_is_mott_and_gurneys")),
    (
        "a straight line in such a plot proves little (PMID 24651511)",
        Test(DECAY, "laws_that_cannot_be_told_apart_are_said_to_be"),
    ),
    (
        "log-log slope of ohmic, space-charge and power laws",
        Test("src/analysis/tests/sweeps.rs", "the_steepness_between_steps_is_the_exponent_of_the_voltage"),
    ),
    (
        "dielectric absorption: MIL-C-19978, PP, PET, mixed, X7R, Z5U, NP0, electrolytics; two pages differ",
        Test(HAND, "what_comes_back_lies_in_the_published_spans"),
    ),
    ("aluminium, treatment after storage: 1 kohm, 30 min, within 2 years not needed", No("a procedure: no function computes it")),
    // Logic levels
    (
        "VIL and VIH of 4000B, 4000UB, 74HC, 74HCT, 74LS, 54LS, LVCMOS, AHC",
        Test(NODE, "every_family_has_the_levels_of_its_source"),
    ),
    (
        "4000B: typical thresholds, outputs, noise margins",
        Test(NODE, "typical_thresholds_outputs_and_margins_are_the_data_sheets"),
    ),
    ("2.2 V on a CMOS input at 5 V is undefined; 4000B supply", Test(PUBLISHED, "logic_levels_are_the_standards")),
    // Proportions
    (
        "NIST handbook 7.2.4.2: 4 of 20 exact, Wilson; Newcombe 1998: 81 of 263; 0 of 20; 0 of 1000",
        Test(RATES, "intervals_are_the_published_ones"),
    ),
    ("NIST handbook 7.2.4: 26 of 200 against 0.10, z = 1.414", No("the normal approximation is not used: exact bounds are")),
    (
        "rule of three and its error (Eypasch 1995, Jovanovic and Levy 1997)",
        Test(RATES, "the_rule_of_three_is_an_approximation_and_is_not_used"),
    ),
    ("success run: 90 of R .95 C .99; tables at 90, 95, 99 %", Test(PUBLISHED, "success_runs_match_the_tables")),
    ("with failures; the (n + 1) form; Wilson at zero; P(miss); Poisson bounds", Test(RATES, "sizes_are_the_published_ones")),
    ("ASTM E2334: upper bound with no response", Test(PUBLISHED, "exact_bounds_hold_for_large_numbers_of_starts")),
    (
        "Fisher: 3 and 8 of 1000 against 0 and 1; the tea, its odds ratio and chances",
        Test(RATES, "before_and_after_by_fishers_test"),
    ),
    // Sequential, runs
    (
        "Wald: NIST 6.2.6, its integers, .001 against .01 with its expected numbers",
        Test(RATES, "walds_lines_are_the_published_ones"),
    ),
    (
        "runs: 11 and 14 with exact counts, H16 T14 with and without the half run, 0 and 1 by turns, 14 tosses",
        Test("src/analysis/tests/dependence.rs", "runs_are_the_published_ones"),
    ),
    (
        "Mann-Kendall: variance at 10 and 100, exact tails at 4, 5 and 10, 9 4 7 5 3 (Gilbert A18)",
        Test(SERIES, "kendalls_variance_and_small_cases_are_published"),
    ),
    ("the Nile: S, variance, Z, p, Sen's slope and its limits", Test(SERIES, "the_niles_fall_is_the_published_one")),
    // Clusters and change points
    ("Old Faithful: 272 rows, means and deviations", Test(STATES, "the_geyser_is_the_published_set")),
    (
        "Old Faithful, waiting: two components, likelihood; criterion for one to three",
        Test(STATES, "the_geysers_waits_are_two_normal_components"),
    ),
    (
        "Old Faithful, eruptions: two and three components all but tie by Schwarz's criterion",
        Test(STATES, "schwarz_alone_would_find_a_third_length_of_eruption"),
    ),
    ("Old Faithful: cut by two means, and by Otsu", Test(STATES, "two_means_cut_the_geyser_where_published")),
    (
        "the Nile: one break after 1898, its 28th year (Cobb 1978); whether the last of a segment or the first of the next",
        Test("src/analysis/changes/tests.rs", "the_nile_breaks_after_1898_its_28th_year"),
    ),
    (
        "the Nile: Pettitt, sup F, runs about the median",
        No("not used: changes are found by their cost, order by runs of outcomes"),
    ),
    // Regression and numerics
    ("27 non-linear sets of NIST StRD, both starts", Test(FITS, "every_certified_set_is_reached_from_both_starts")),
    (
        "DanWood: the line of logarithms is not the answer",
        Test(FITS, "a_power_law_is_fitted_as_it_stands_not_as_a_line_of_logarithms"),
    ),
    ("Norris", Test(SUMS, "a_line_reaches_the_certified_values_of_norris")),
    ("NumAcc1 to 4: mean, spread, serial correlation", Test(SUMS, "sums_reach_the_certified_mean_spread_and_serial_correlation")),
    ("Levenberg and Marquardt as MINPACK has it", Test("tests/peers/least_squares.rs", "fits_are_scipys")),
    // Uncertainty
    (
        "GUM H.1: result, components, effective degrees of freedom 16.7, U 93 nm",
        Test(GUM, "the_end_gauge_has_its_published_uncertainty"),
    ),
    ("GUM H.1.7: second order, 34 nm", Test(GUM, "terms_of_second_order_are_added_where_the_first_vanish")),
    (
        "GUM H.2: means, u, r; the model is (V/I) cos phi",
        Test(GUM, "simultaneous_resistance_and_reactance_have_their_published_uncertainties"),
    ),
    (
        "rectangular, resolution, a meter's statement, % of reading and range, digits",
        Test(GUM, "statements_become_standard_uncertainties"),
    ),
    ("three readings: 0.0017 + U <= 0.0030", Test(GUM, "three_readings_of_a_thickness_pass_with_their_uncertainty")),
    ("guard bands: AL = TL - w; 10 ± 1; 0.5 ohm", Test(GUM, "acceptance_limits_stand_a_guard_band_inside")),
    ("ILAC-G8:09/2019, table of risks, and from the normal tail", Test(GUM, "guard_bands_have_their_published_risks")),
    ("Student's t (GUM table G.2)", Test(SUMS, "students_t_is_the_guides_table")),
    // Safety
    (
        "IEC 61558-1, IEC 61140, IEC 60335-1 with its editions, IEC 60598-1, IEC 61010-1; charge and energy; laboratory thresholds",
        Test(HAND, "what_may_be_touched_is_what_the_standards_say"),
    ),
    (
        "NFPA 79 6.5.1, NEC 460.6, discharge maths (a page's \"to 63 %\" is what is lost)",
        Test(HAND, "a_capacitor_falls_as_its_time_constant_says"),
    ),
    ("0.1 J, 0.25 J, 10 J", Test(PUBLISHED, "energies_and_fall_times_are_the_closed_forms")),
    (
        "alternating limits, touch currents, wet a.c., IEC 62368-1 classes, IEC 62282-5-1, 8 CCR 2893",
        No("the tool knows direct voltage alone; these limits are not among those that it tells"),
    ),
    ("low-energy criterion of 0.2 J", No("its source is not known; 0.1 J and 0.25 J of common practice are told")),
    ("resistor in series, never a short; measure; look again", Test(HAND, "a_capacitor_falls_as_its_time_constant_says")),
    // Battery
    ("AA alkaline by drain, LR6 test, measured capacities", Test(HAND, "an_alkaline_cell_holds_what_its_curve_says")),
    ("2850 mAh nominal", No("a figure quoted at second hand: the maker's curve is taken")),
    (
        "7 mA for 3 ms and 3 uA a second; the 60 s node; half the sleep current gains 6 %",
        Test(HAND, "a_duty_of_pulses_gives_the_published_mean_and_life"),
    ),
    ("IEC 60086-2: minimum average durations", No("the tables could not be obtained")),
    // Meter
    ("burden and loading", Test(HAND, "a_shunt_takes_what_the_handbook_says")),
    ("burden of the stand-in: 0.952381 A, -4.7619 %", Test(SETTLING, "a_shunt_takes_its_share_of_the_voltage")),
    ("loading by the stand-in: 0.9901 %, 9.0909 %", Test(SETTLING, "an_input_loads_what_it_measures")),
    (
        "line cycles of the stand-in: 16.67 ms at 60 Hz, 20 ms at 50 Hz and 400 Hz",
        Test(REJECTION, "a_line_cycle_lasts_as_long_as_the_mains_say"),
    ),
    (
        "rejection by the stand-in, 20 log(Vin/Verr): 16.14, 14.38, 60.0, 40.1 dB, and the ideal window's",
        Test(REJECTION, "rejection_follows_from_the_integration"),
    ),
    (
        "rejection by the stand-in: parts of a cycle none; 1, 2, 10, 100 cycles, 60 dB at 0.1 %; 100 ms against both mains",
        Test(REJECTION, "whole_line_cycles_take_out_hum_and_parts_of_one_do_not"),
    ),
    (
        "settling of the stand-in: 4.605, 6.908, 9.210, 13.816 time constants",
        Test(SETTLING, "settling_takes_the_tabled_number_of_time_constants"),
    ),
    (
        "settling of the stand-in: 200 pF, above 100 kohm, sources of 1 nF to 0.1 uF",
        Test(SETTLING, "a_delay_that_suits_a_cable_suits_no_large_source"),
    ),
    (
        "absorption of the stand-in is slower than its time constant",
        Test(SETTLING, "a_dielectric_settles_more_slowly_than_its_time_constant_says"),
    ),
    ("line cycles, NMR, ideal windows, off by 0.1 and 1 %", Test(HAND, "a_window_rejects_hum_as_its_sinc_says")),
    ("settling: 4.605, 6.908, 9.210, 13.816 time constants", Test(HAND, "settling_takes_the_tabled_number_of_time_constants")),
    (
        "automatic delays assume 200 pF; absorption is slower",
        Test("tests/cli/calc.rs", "every_calculation_has_an_example_that_runs"),
    ),
];

#[test]
fn every_row_has_its_test_or_its_reason() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut tests = 0;
    for (row, by) in ROWS {
        match by {
            Test(file, name) => {
                let text = std::fs::read_to_string(root.join(file)).unwrap_or_else(|e| panic!("{row}: {file}: {e}"));
                let found = text.find(&format!("fn {name}(")).unwrap_or_else(|| panic!("{row}: no {name} in {file}"));
                let before: String =
                    text.get(..found).unwrap().chars().rev().take(120).collect::<String>().chars().rev().collect();
                assert!(before.contains("#[test]"), "{row}: {name} in {file} is no test");
                tests += 1;
            }
            No(why) => assert!(why.len() > 20, "{row}: no reason"),
        }
    }
    assert!(tests > 40, "the table is empty");
}
