//! `rampart calc circuit`: a netlist from a file, its waveforms on standard output.

use crate::support::Place;

#[test]
fn a_netlist_gives_a_table_over_time() {
    let place = Place::new();
    let said = place.run(&["calc", "circuit", "arming-delay.cir", "--node", "arm", "--node", "i(v1)"]);
    assert_eq!((said.code, said.err.as_str()), (Some(0), ""));
    let lines: Vec<&str> = said.out.lines().collect();
    assert_eq!((lines[0], lines.len()), ("time,v(arm),i(v1)", 302));
    // From 2 ms on, 9 V through 100 kohm and 2 Mohm into 4.7 uF; at 1.5 ms the ramp is half way.
    let row: Vec<f64> = lines[101].split(',').map(|w| w.parse().unwrap()).collect();
    let (top, constant) = (9.0 * 2.0 / 2.1, 4.7e-6 * 2e6 * 1e5 / 2.1e6);
    let wanted = top * (1.0 - (-(1.0_f64 - 1.5e-3) / constant).exp());
    assert!((row[0] - 1.0).abs() < 1e-9 && (row[1] - wanted).abs() < 1e-4, "{row:?}, {wanted}");
    assert!((row[2] + (9.0 - row[1]) / 1e5).abs() < 1e-9, "{row:?}");
    let json = place.run(&["calc", "circuit", "arming-delay.cir", "--json"]);
    let value: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(value["curves"]["v(arm)"].as_array().unwrap().len(), 301);
}

#[test]
fn mistakes_of_a_netlist_are_shown_with_their_place() {
    let place = Place::new();
    place.write("bad.cir", "a title\nr1 a 0 1k5\nd1 a 0 none\n.tran 1u 1m\n");
    let said = place.run(&["calc", "circuit", "bad.cir"]);
    assert_eq!((said.code, said.out.as_str()), (Some(2), ""));
    assert!(said.err.contains("bad.cir:2:8") && said.err.contains("bad.cir:3:8"), "{}", said.err);
    place.write("loop.cir", "a title\nv1 a 0 1\nv2 a 0 2\nr1 a 0 1\n.tran 1u 1m\n");
    let said = place.run(&["calc", "circuit", "loop.cir"]);
    assert_eq!(said.code, Some(2));
    assert!(said.err.contains("is not determined"), "{}", said.err);
    let said = place.run(&["calc", "circuit", "arming-delay.cir", "--node", "nowhere"]);
    assert!(said.code == Some(2) && said.err.contains("it has v(rail), v(arm)"), "{}", said.err);
}

#[test]
fn a_unit_whose_circuit_cannot_be_solved_ends_the_rehearsal_with_the_place() {
    let place = Place::new();
    place.write("plan.toml", crate::support::SHORT);
    place.write(
        "plan.unit.toml",
        "cause = \"none\"\ninput = \"in\"\nnetlist = \"C1 in 0 10u\"\n[load.U1]\nnodes = [\"in\", \"0\"]\n\
         [[load.U1.state]]\nname = \"one\"\ndraws = [\"1 mA\"]\nto = [\"other: in above 3 V\"]\n\
         [[load.U1.state]]\nname = \"other\"\ndraws = [\"2 mA\"]\nto = [\"one: in above 3 V\"]\n",
    );
    let said = place.run(&["rehearse", "plan.toml"]);
    assert_eq!(said.code, Some(2), "{}", said.err);
    assert!(said.err.contains("could not be solved") && said.err.contains("load.u1"), "{}", said.err);
    assert!(said.err.contains("Nothing that this rehearsal says of the unit counts"), "{}", said.err);
}
