//! Rows 1 to 7: how a channel is meant.

use super::*;

pub(super) fn rows() -> Vec<Row> {
    let parameter = [
        ("\"V{channel} {value}\"", "\"VSET CH{channel},{value}\""),
        ("\"V{channel}?\"", "\"VSET? CH{channel}\""),
        ("\"I{channel} {value}\"", "\"ISET CH{channel},{value}\""),
        ("\"I{channel}?\"", "\"ISET? CH{channel}\""),
        ("\"OP{channel} 1\"", "\"OUT CH{channel},1\""),
        ("\"OP{channel} 0\"", "\"OUT CH{channel},0\""),
        ("\"OP{channel}?\"", "\"OUT? CH{channel}\""),
    ];
    let named =
        [("SET {voltage},{current}", "APPL P18V,{voltage},{current}"), ("OUT ON", "OUT P18V,ON"), ("OUT OFF", "OUT P18V,OFF")];
    let addressed = [("INST:NSEL {channel}", "ADR 0{channel}"), ("INST:NSEL?", "ADR?")];
    let for_a_hand = [("set  = \"OUTP:COUP OFF\"\n", "")];
    vec![
        (1, "channel list", Ok(vec![run(Right).on(2)])),
        (
            2,
            "channel chosen first",
            Ok(vec![run(Right).with(SELECT).on(2), run(Right).with(SELECT).on(2).does("forgets_channel = true")]),
        ),
        (3, "channel as a parameter", Ok(vec![run(Right).with(variant("parameter", INDEX, &parameter)).on(2)])),
        (4, "channel in the header", Ok(vec![run(Right).with(INDEX).on(2)])),
        (5, "named outputs", Ok(vec![run(Right).with(variant("named", ACKNOWLEDGED, &named))])),
        (6, "address first", Ok(vec![run(Right).with(variant("addressed", SELECT, &addressed)).on(3)])),
        (
            7,
            "coupled channels",
            Ok(vec![
                run(Right).does("coupling = \"tracking\""),
                run(Never(&[Exit::Wrong])).with(variant("for-a-hand", LIST, &for_a_hand)).does("coupling = \"tracking\""),
            ]),
        ),
    ]
}
