// SPDX-License-Identifier: GPL-3.0-or-later
//
// Every finding that linewalk can make: what it is called, what to do next, what can hurt while
// doing it. A finding without a next step is of no use to the person at the machine, so the table
// has one for each, in the order in which a cautious engineer would try things: look, measure,
// swap, replace. A new finding is a new row here; documentation and tests walk the table.
#include "site/record.h"

#include <assert.h>
#include <stddef.h>
#include <string.h>

static const char plugs_off[] = "switch the section's supply off and secure it before a plug is "
                                "opened or closed: a tap that is "
                                "plugged live can reset its neighbours and its contacts burn";
static const char live_parts[] =
    "measuring on a live cabinet is for qualified persons; the chain is low voltage, what stands "
    "beside it may not be";
static const char supply_settings[] =
    "do not turn the supply up without looking at the highest voltage that the nodes near it allow";
static const char moving_parts[] =
    "do this with the drives off and locked out, and say who made sure of it";
static const char reach_not[] = "do not reach into a moving machine to find it; stand clear while "
                                "the source is on";
static const char running_machine[] =
    "a machine in production relies on this line: take it only with the consent of who runs it";

const struct lw_code lw_codes[] = {
    // Any check on a line.
    {"line_foreign", "line", "another master is on the line",
     "stop the controller and say who stopped it (--controller), or use linewalk listen, which "
     "only "
     "hears",
     running_machine},
    {"line_not_listened", "line", "the line could not be listened to before asking",
     "make sure by other means that no controller asks through this gateway at the same time",
     NULL},
    {"line_echo", "line", "the adapter hears itself",
     "nothing to do for the check, the echo is taken out; a two-wire adapter with its receiver off "
     "while sending would be without",
     NULL},
    {"line_parity_lost", "line", "the line does not carry parity",
     "judge parity errors on a serial port: a pseudo-terminal or a socket cannot show them", NULL},
    {"line_failed", "line", "the line failed during the check",
     "look at the adapter's plug and its USB cable (linewalk ports), then run the check again",
     NULL},
    {"line_interrupted", "line", "the check was interrupted",
     "run it again to the end: what is recorded is true but not the whole", NULL},

    // Listen.
    {"listen_nothing", "listen", "nobody asks on this line",
     "check that the controller runs and that the adapter hangs on its line, D0 and D1 the right "
     "way round; then listen again",
     NULL},
    {"listen_framing", "listen", "the line runs at another framing than planned",
     "ask who set it so; then correct the plan, or the controller and every node together", NULL},
    {"listen_crossed", "listen", "questions cross each other",
     "two masters share this line: find the second one (a service laptop, a panel, a gateway) and "
     "unplug it",
     running_machine},
    {"listen_not_polled", "listen", "the controller does not ask a planned node",
     "look for %s in the controller's list of nodes, at the planned address", running_machine},
    {"listen_unanswered", "listen", "questions of the controller stay without a good answer",
     "find out on the line itself: stop the controller and run linewalk link on %s",
     running_machine},
    {"listen_exceptions", "listen", "a node refuses the controller",
     "compare the function and the registers that the controller asks %s for with its manual",
     NULL},
    {"listen_register", "listen", "the controller does not ask for what is planned",
     "correct function and register for %s in the controller: manuals often count from 1, the wire "
     "from 0",
     running_machine},
    {"listen_length", "listen", "the controller asks for another length than planned",
     "correct the number of registers for %s in the controller: a value of 32 bits takes two",
     running_machine},
    {"listen_word_order", "listen", "the words of a value are the wrong way round",
     "deflect the sensor of %s by a known amount and compare what the controller shows; then set "
     "its word order",
     moving_parts},
    {"listen_unchanged", "listen", "a reading does not change",
     "deflect the sensor of %s and see whether the reading follows: a live one moves in its last "
     "digits, a stored one does not",
     moving_parts},
    {"listen_unplanned", "listen", "the controller asks an address that is not planned",
     "add the node to the plan, or take it out of the controller: each silent one costs its "
     "time-out in every cycle",
     running_machine},
    {"listen_timeout", "listen", "the controller's patience",
     "set the controller's time-out well above the slowest answer (twice is common practice), or "
     "have one question stay unanswered while listening so that it shows",
     running_machine},
    {"listen_cycle", "listen", "the controller's cycle is longer than planned",
     "take away what costs time: silent nodes with their time-outs, pauses, registers that nobody "
     "uses",
     running_machine},

    // Ports.
    {"ports_forbidden", "ports", "a port is not this user's to open",
     "sudo usermod -aG %s \"$USER\", then log in again", NULL},
    {"ports_busy", "ports", "another program has the port open",
     "end %s, or wait until it is done: two programs on one port garble each other", NULL},
    {"ports_latency", "ports", "the adapter holds received bytes back",
     "nothing for linewalk, which lowers it while it has the port, where the driver lets it; for "
     "other programs: echo 1 | sudo tee /sys/class/tty/%s/device/latency_timer, which lasts until "
     "the adapter is pulled out",
     NULL},
    {"ports_starved", "ports", "the adapter asks for more than its place on USB gives",
     "plug the adapter into the machine itself, or into a hub with a supply of its own", NULL},
    {"ports_hub_row", "ports", "hubs without a supply of their own stand in a row",
     "take one of them out: USB does not allow it, and what is behind the second starves", NULL},
    {"ports_hub_unfed", "ports", "a hub runs without its own supply",
     "plug in the hub's supply, or count it as a hub without one", NULL},
    {"ports_feed", "ports", "the chain draws more than USB is sure to give",
     "feed the chain from a supply of its own, or fewer nodes from USB; linewalk supply says what "
     "they draw",
     live_parts},
    {"ports_charger", "ports", "the charger may tie 0 V to protective earth",
     "use an isolated adapter, or pull the charger while you measure, and say which of the two",
     NULL},
    {"ports_direction", "ports", "the driver cannot switch the direction of the line",
     "set the plan's line.direction to rts, or to adapter for one that switches by itself", NULL},

    // Scan.
    {"scan_missing", "scan", "a planned node does not answer",
     "look at %s: is its lamp on? Measure V+ to 0 V at its tap; then try its factory address and "
     "framing; then its plugs",
     plugs_off},
    {"scan_missing_from", "scan", "all nodes from one tap on are silent",
     "look at the span just before %s: a plug that is open, a wire off, a supply that is switched "
     "off there",
     plugs_off},
    {"scan_none", "scan", "no node answers at all",
     "check in this order: is the chain powered, are D0 and D1 the right way round, is the framing "
     "the plan's, does the adapter send (linewalk ports)",
     NULL},
    {"scan_unplanned", "scan", "a node answers that the plan does not have",
     "find out what stands at %s; put it into the plan, or give it its planned address (linewalk "
     "assign)",
     NULL},
    {"scan_doubled", "scan", "two nodes answer at one address",
     "unplug one of the two at %s, scan again, give the one that is left its planned address "
     "(linewalk assign), then plug the other in",
     plugs_off},
    {"scan_garbled", "scan", "something answers that cannot be read",
     "scan %s again; if it stays, it is two nodes at one address, a node at another framing, or a "
     "disturbed line: unplug from the tail until it clears",
     plugs_off},
    {"scan_late", "scan", "a node answers later than it should",
     "give the controller a longer time-out than the reply of %s, or look why it is slow: "
     "firmware, "
     "low supply (linewalk supply)",
     NULL},
    {"scan_wrong_framing", "scan", "a node speaks at another framing",
     "set the framing of %s to the plan's (linewalk assign) or its switches, and restart it", NULL},

    // Roster.
    {"roster_missing", "roster", "a planned node is not there",
     "look at %s: lamp, supply at its tap, address, plugs; linewalk scan tries harder", plugs_off},
    {"roster_unplanned", "roster", "a node is there that the plan does not have",
     "find out what stands at %s; put it into the plan (linewalk roster --as-built) or take it off",
     NULL},
    {"roster_swapped", "roster", "two nodes stand in each other's place",
     "swap the addresses back (linewalk assign) or the nodes at the machine; prove the places with "
     "linewalk touch before %s is trusted",
     moving_parts},
    {"roster_wrong_kind", "roster", "a node is of another kind than planned",
     "compare the type label of %s with the plan: exchange it, or correct the plan", plugs_off},
    {"roster_doubled", "roster", "two nodes share an address",
     "unplug one of the two at %s and look who still answers; then give the other its own address "
     "(linewalk assign)",
     plugs_off},
    {"roster_wrong_framing", "roster", "a node speaks at another framing",
     "set the framing of %s to the plan's (linewalk assign) or its switches, and restart it", NULL},
    {"roster_unreadable", "roster", "a node answers but will not say who it is",
     "ask %s again; if it stays, compare its profile's registers with the maker's manual, then its "
     "firmware",
     NULL},
    {"roster_identity_unproved", "roster", "kind not proved: the node has no identity to read",
     "compare the type label of %s with the plan and write it down (linewalk note)", NULL},
    {"roster_serial_unproved", "roster", "serial not proved",
     "compare the serial on the label of %s with the plan; a plan without serials can take those "
     "read now (linewalk roster --as-built)",
     NULL},
    {"roster_serial_differs", "roster", "another node than planned",
     "if %s was exchanged on purpose, revise the plan (linewalk roster --as-built); else find out "
     "where the planned one is",
     NULL},
    {"roster_sensor_differs", "roster", "another sensor than planned at the node",
     "compare the sensor's label at %s with the plan; its calibration belongs to the sensor, so "
     "read it on a master again (linewalk masters)",
     NULL},
    {"roster_firmware_old", "roster", "firmware older than the profile asks for",
     "update %s by the maker's procedure, or say in writing why the old one may stay (linewalk "
     "note)",
     NULL},
    {"roster_calibration_due", "roster", "calibration is due",
     "have %s calibrated or exchange it; until then its readings are not traceable", NULL},
    {"roster_calibration_unknown", "roster", "date of calibration not known",
     "look for the certificate of %s and put its date on record (linewalk note)", NULL},
    {"roster_stale_identity", "roster", "identity from before the sensor was exchanged",
     "restart %s so that it reads its sensor anew, then run linewalk roster again", NULL},
    {"roster_sensor_open", "roster", "no sensor at the node",
     "look at the sensor's plug and cable at %s; try a known good sensor", plugs_off},
    {"roster_under_voltage", "roster", "the node says its supply is too low",
     "run linewalk supply; measure V+ to 0 V at %s under load", live_parts},
    {"roster_over_range", "roster", "the node says its sensor is out of range",
     "look whether the sensor at %s is fixed where it should be, and whether something blocks it",
     moving_parts},
    {"roster_fault", "roster", "the node reports a fault",
     "read the lamp of %s against its profile's table; restart it; exchange it if it stays",
     plugs_off},
    {"roster_restarted", "roster", "the node has restarted by itself",
     "look for a weak supply or a loose plug at %s (linewalk supply, then linewalk restart)", NULL},

    // Link.
    {"link_error_rate", "link", "errors on the line",
     "look which nodes have them: one node points to its plug or tap, all nodes to termination, "
     "bias, earthing or the adapter; poll longer where it is undecided",
     NULL},
    {"link_node_differs", "link", "one node has more errors than the others",
     "look at the plug and the stub of %s; swap it with a neighbour: do the errors move with the "
     "node or stay at the place?",
     plugs_off},
    {"link_silent", "link", "a node does not answer at all",
     "look at %s: lamp, supply at its tap, plugs; linewalk scan tries harder", plugs_off},
    {"link_bursts", "link", "errors come in bursts",
     "look what switches at those moments: contactors, brakes, welding, drives; compare the times "
     "in "
     "the capture with the machine's log",
     NULL},
    {"link_reply_slow", "link", "replies slower than allowed",
     "give the controller a longer time-out than the slowest reply of %s; look at its supply and "
     "firmware",
     NULL},
    {"link_reply_late", "link", "replies that come after their time-out",
     "%s answers after its time is over and so spoils the next node's answer: blame it first, "
     "lengthen the time-out, then look at its supply",
     NULL},
    {"link_cycle", "link", "the wanted cycle cannot be held",
     "poll faster (a higher rate, longer blocks, fewer registers) or take nodes to a second line",
     NULL},
    {"link_exceptions", "link", "a node refuses requests",
     "compare the registers asked of %s with the maker's manual and its firmware", NULL},
    {"link_wrong_answers", "link", "answers that do not fit the question",
     "look for a second master, a doubled address or a gateway that mixes answers around %s", NULL},
    {"link_no_data", "link", "no polls to judge",
     "run linewalk link on the line with the chain powered", NULL},

    // Supply.
    {"supply_under_minimum", "supply", "supply voltage too low at a node",
     "shorten or thicken the way to %s, feed it from nearer, or spread the load over a second "
     "supply",
     supply_settings},
    {"supply_margin", "supply", "little supply margin at a node",
     "look at the joints before %s and keep spare nodes off this section; a second feed gives "
     "margin",
     supply_settings},
    {"supply_worst_case", "supply", "too low at the far end of the tolerances",
     "measure V+ to 0 V at %s under full load: a measured value takes the tolerances' place",
     live_parts},
    {"supply_over_maximum", "supply", "supply voltage too high at a node",
     "turn the supply down or fit the one that is planned before %s is plugged in", plugs_off},
    {"supply_overload", "supply", "a supply is past its limit",
     "move nodes from %s to another supply, or fit a larger one; mind its derating with the "
     "cabinet's temperature",
     NULL},
    {"supply_load_high", "supply", "a supply carries more than allowed",
     "plan a larger supply for %s or a second feed; measure its current to be sure", live_parts},
    {"supply_span_over_rating", "supply", "more current than a span is rated for",
     "feed the chain beyond %s separately, or use a thicker cable there",
     "an overloaded cable or plug gets hot: do not leave it so"},
    {"supply_no_operating_point", "supply", "the supply cannot carry all nodes at once",
     "take nodes off, feed the far end as well, or thicken the cable: the plan as it is does not "
     "work",
     NULL},
    {"supply_cold_start_trap", "supply", "nodes stay off after switching on",
     "switch sections on one after the other, or feed %s from nearer; prove it with linewalk "
     "restart",
     NULL},
    {"supply_dip_trap", "supply", "nodes stay off after a short dip",
     "the dip takes %s off and the rest keeps it from starting: give the section more supply, or "
     "a supply that holds up longer",
     NULL},
    {"supply_resets_in_turn", "supply", "nodes reset in turn",
     "%s would start, fall below its drop-out voltage and start again: give the section more "
     "supply "
     "before looking for any other fault",
     NULL},
    {"supply_sources_in_parallel", "supply", "two supplies feed one rail",
     "cut V+ between the two supplies or isolate them, unless their maker allows them in parallel: "
     "look at %s",
     "a supply that is switched off may still be live from the other one: secure both"},
    {"supply_measured_low", "supply", "a node measures less than computed",
     "measure V+ to 0 V at %s with a hand meter, then at the taps before it: the drop is where "
     "they "
     "differ",
     live_parts},
    {"supply_measured_high", "supply", "a node measures more than computed",
     "look whether the plan knows all feeds and their settings; measure V+ to 0 V at %s",
     live_parts},
    {"supply_weak_span", "supply", "more resistance than planned in a span",
     "open, clean and re-make the joints of %s, tighten its terminals, then measure again",
     plugs_off},
    {"supply_starved", "supply", "a node has too little supply to be trusted",
     "do not trust readings or errors of %s before its supply is right: find the weak span or feed "
     "it from nearer",
     plugs_off},
    {"supply_zero_v_parallel", "supply", "0 V has a second way through the machine frame",
     "open the bonds of 0 V one by one (end clamps, shields, a laptop's charger) until the 0 V "
     "rise "
     "fits the plan; 0 V belongs to earth at one place",
     "never open a protective earth: only the bonds of 0 V are meant"},
    {"supply_draw_differs", "supply", "measured current differs from the plan",
     "count the nodes on %s and compare with the plan: a doubled or unplanned node draws too",
     live_parts},
    {"supply_voltmeter_off", "supply", "a node's voltmeter is not to be believed",
     "measure V+ to 0 V at %s with a hand meter and compare", live_parts},
    {"supply_not_measured", "supply", "supply computed, not measured",
     "measure V+ to 0 V at %s with a hand meter (linewalk meter), or use nodes with a voltmeter",
     live_parts},
    {"supply_not_computed", "supply", "supply not computed",
     "put what is missing into the plan: spans with length and conductor, supplies with voltage "
     "and "
     "limit, loads in the profiles",
     NULL},
    {"supply_bias_low", "supply", "idle voltage of the data pair too low",
     "strengthen the bias or take a terminator off that is one too many; measure D1 to D0 with "
     "nobody sending",
     NULL},
    {"supply_unit_loads", "supply", "too many receivers on the data pair",
     "split the line with a repeater, or use nodes with a smaller unit load", NULL},

    {"supply_driver_load", "supply", "the data pair loads its drivers too much",
     "take a terminator off that is one too many, or use larger bias resistors", NULL},
    {"supply_terminations", "supply", "terminators missing, too many, or not at the ends",
     "put one terminator at each end of the pair and none between, and correct the plan", NULL},
    {"supply_line_long", "supply", "the data pair is long for its rate (rule of thumb)",
     "prove it with linewalk link, or take a lower rate or a repeater", NULL},
    {"supply_stub_long", "supply", "a stub is long for the rate (rule of thumb)",
     "shorten the stub, take the pair through the node, or prove it with linewalk link", NULL},
    {"supply_zero_v_rise", "supply", "0 V differs too much along the data pair",
     "feed the far end from nearer, thicken 0 V, or isolate the pair in between",
     "never open a protective earth to break a loop of 0 V"},
    {"supply_cycle", "supply", "the rate does not allow the wanted cycle",
     "take a higher rate, fewer nodes on this line or a longer cycle; linewalk link measures it",
     NULL},

    // Noise.
    {"noise_over_limit", "noise", "noise above the limit",
     "look around %s: fixing, a magnet, a drive's cable, its earth; switch suspects off and on "
     "(linewalk noise --switch)",
     moving_parts},
    {"noise_undecided", "noise", "noise not decided yet",
     "measure %s longer at rest: --seconds as the finding says, or --decide", NULL},
    {"noise_disturbed", "noise", "a node is disturbed from outside",
     "look for a magnet, a drive or its cable near %s; switch the suspect off, on, on, off and "
     "compare (linewalk noise --switch)",
     moving_parts},
    {"noise_mains", "noise", "mains in the readings",
     "look at the shield and the earth of %s, at cables laid beside its own, at transformers and "
     "lamps near it",
     live_parts},
    {"noise_tone", "noise", "one frequency in the readings",
     "look what turns or switches at that frequency near %s; the node samples itself, so the true "
     "one may be a multiple away",
     NULL},
    {"noise_drift", "noise", "the reading drifts at rest",
     "let %s warm up as its profile says and measure again; then look at its fixing and at "
     "draughts",
     NULL},
    {"noise_stuck", "noise", "the reading does not move at all",
     "deflect the sensor at %s by hand (linewalk touch): does it follow? Restart or exchange it if "
     "not",
     moving_parts},
    {"noise_outliers", "noise", "single readings far off",
     "look for switching near %s at those times; loose plug, spark, or a bad value that the node "
     "should have flagged",
     NULL},
    {"noise_jumps", "noise", "a reading that jumps to and fro",
     "open and close the plug at %s, move its cable while somebody watches: a contact or a core is "
     "loose",
     moving_parts},
    {"noise_step", "noise", "a reading that moved once",
     "ask what happened at %s at that moment: somebody touched it, a magnet or a part was moved",
     NULL},
    {"noise_saturated", "noise", "at the end of the range",
     "bring the sensor at %s into its range and measure again; if it is there, it is unplugged or "
     "broken",
     moving_parts},
    {"noise_loop_failed", "noise", "the transmitter signals a failure",
     "look at the transmitter of %s, its loop supply and its wires: open or shorted", live_parts},
    {"noise_loop_guard", "noise", "a loop between measuring and failing",
     "look whether the transmitter of %s is out of its range, or its loop supply is low", NULL},
    {"noise_counts_lost", "noise", "an encoder counts at rest",
     "look at the encoder cable of %s: shield on both ends, away from motor cables; is the machine "
     "really at rest?",
     moving_parts},
    {"noise_feed_pressure", "noise", "the feed pressure of an air gauge varies",
     "look at the regulator and filter before %s, and who else takes air from that pipe", NULL},
    {"noise_common", "noise", "a disturbance common to all nodes",
     "it comes with what all share: look at the supply, its 0 V to earth, the shields' earth; a "
     "place along the chain is not the cause",
     live_parts},
    {"noise_near", "noise", "a disturbance strong at one place",
     "look near %s for a magnet, a drive or its cable; keep magnets and drives away from inductive "
     "probes; switch the suspect off, on, on, off and compare (linewalk noise --switch)",
     moving_parts},
    {"noise_source_steady", "noise", "a source shifts the reading",
     "keep it away from %s, or zero the sensor with the source as it is while measuring",
     reach_not},
    {"noise_source_alternating", "noise", "a source makes the reading noisier",
     "part its cables from those of %s, see to shields and filters of the source", reach_not},
    {"noise_no_limit", "noise", "no limit to judge the noise against",
     "give a limit in the profile, in the plan for %s, or with --limit", NULL},
    {"noise_no_data", "noise", "no readings to judge",
     "look why %s gives none: linewalk scan, linewalk roster; does its profile name a reading?",
     NULL},

    // Resend: a recording's reads sent again.
    {"resend_identity_differs", "resend", "a node is not the one that was recorded",
     "if %s was exchanged on purpose, revise the plan (linewalk roster --as-built); else find out "
     "where the recorded one is",
     NULL},
    {"resend_upkeep_differs", "resend", "a node was updated or calibrated since the recording",
     "compare the certificate and the firmware of %s with the day of the recording before its "
     "readings are",
     NULL},
    {"resend_silent", "resend", "a node that answered on the recording is silent",
     "look at %s: lamp, supply at its tap, address, plugs; linewalk scan tries harder", plugs_off},
    {"resend_more_errors", "resend", "more errors than on the recording",
     "run linewalk link: it finds the rate and the node; compare what runs beside the line now "
     "with "
     "what ran then",
     NULL},
    {"resend_refusals_differ", "resend", "a node refuses what it answered, or the other way round",
     "compare the firmware and the registers of %s with the maker's manual", NULL},
    {"resend_reading_differs", "resend", "a reading is not as it was recorded",
     "look whether the part, the temperature and the machine's state are those of the recording; "
     "then read %s on a master (linewalk masters)",
     moving_parts},
    {"resend_status_differs", "resend", "a node's status is not as it was recorded",
     "run linewalk roster: it says what the status of %s means", NULL},
    {"resend_timing_differs", "resend", "a node's reply time is not as it was recorded",
     "compare the firmware of %s and its supply with the day of the recording; mind that another "
     "adapter has other delays",
     NULL},
    {"resend_not_judged", "resend", "readings were not compared",
     "name the plan (--plan), and a tolerance (--tolerance) where it has no noise limit for %s",
     NULL},
    {"resend_left_out", "resend", "a part of the recording was not sent",
     "writes change what a machine does: send them only with --allow-writes, and only where "
     "nothing "
     "can move",
     moving_parts},
    {"resend_nothing", "resend", "nothing to send again",
     "look with linewalk decode what the recording holds: without requests nothing can be asked",
     NULL},

    // Acceptance and the walk.
    {"acceptance_not_done", "acceptance", "a required check was not done",
     "run linewalk %s, or say why it is left out (linewalk commission asks)", NULL},
    {"acceptance_not_whole", "acceptance", "a required check was not finished",
     "run linewalk %s again to the end", NULL},
    {"acceptance_skipped", "acceptance", "a required check was left out on purpose",
     "make up for %s as soon as the reason is gone", NULL},
    {"acceptance_simulated", "acceptance", "made on a virtual chain",
     "nothing here proves anything about a machine: walk the real chain before anybody signs",
     NULL},
    {"acceptance_plan_changed", "acceptance", "checks were made against different plans",
     "run the checks of the older plan again, %s first", NULL},
    {"acceptance_state_unproved", "acceptance", "not proved with the machine as it will run",
     "run linewalk %s again with the drives on (--state \"drives on\")", moving_parts},
    {"acceptance_chain_broken", "acceptance", "the visit's records do not fit together",
     "find out who changed, removed or added a file at record %s; restore it from the hand-over "
     "copy or walk again",
     NULL},
    {"commission_skipped", "commission", "a step of the walk was left out",
     "run linewalk %s when the reason is gone", NULL},
    {"commission_stopped", "commission", "the walk was stopped before its end",
     "run linewalk commission again: it goes on at the step that was open", NULL},

    // The visit itself.
    {"note_open_point", "note", "an open point",
     "settle it, or name who will and by when, before the report is signed", NULL},
    {"visit_instrument_due", "visit", "an instrument's certificate has run out",
     "measure again with an instrument in date, or have %s calibrated and say so", NULL},
    {"visit_clock_off", "visit", "the laptop's clock is off",
     "set the clock; the offset stands on record, so times can be corrected", NULL},
    {0}};

const struct lw_code *lw_code_find(const char *code)
{
    assert(code);
    for (const struct lw_code *row = lw_codes; row->code; row++) {
        if (strcmp(row->code, code) == 0) {
            return row;
        }
    }
    return NULL;
}
