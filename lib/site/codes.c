// SPDX-License-Identifier: GPL-3.0-or-later
//
// Every finding that linewalk can make: what it is called, what to do next, what can hurt while
// doing it. A finding without a next step is of no use to the person at the machine, so the table
// has one for each, in the order in which a cautious engineer would try things: look, measure,
// swap, replace. A new finding is a new row here; documentation and tests walk the table.
#include "base/words.h"
#include "site/record.h"

#include <assert.h>
#include <stddef.h>
#include <string.h>

static const char plugs_off[] = N_("switch the section's supply off and secure it before a plug is "
                                   "opened or closed: a tap that is "
                                   "plugged live can reset its neighbours and its contacts burn");
static const char live_parts[] = N_(
    "measuring on a live cabinet is for qualified persons; the chain is low voltage, what stands "
    "beside it may not be");
static const char supply_settings[] = N_("do not turn the supply up without looking at the highest "
                                         "voltage that the nodes near it allow");
static const char moving_parts[] =
    N_("do this with the drives off and locked out, and say who made sure of it");
static const char reach_not[] =
    N_("do not reach into a moving machine to find it; stand clear while "
       "the source is on");
static const char running_machine[] =
    N_("a machine in production relies on this line: take it only with the consent of who runs it");

static const char nobody_answers[] =
    N_("check in this order: is the chain powered, are D0 and D1 the right way round, is the "
       "framing "
       "the plan's, does the adapter send (linewalk ports)");

const struct lw_code lw_codes[] = {
    // Any check on a line.
    {"line_foreign", "line", N_("another master is on the line"),
     N_("stop the controller and say who stopped it (--controller), or use linewalk listen, which "
        "only "
        "hears"),
     running_machine},
    {"line_not_listened", "line", N_("the line could not be listened to before asking"),
     N_("make sure by other means that no controller asks through this gateway at the same time"),
     NULL},
    {"line_silent_all", "line", N_("nobody answers"), nobody_answers, NULL},
    {"line_silent_section", "line", N_("all nodes of one supply are silent"),
     N_("look at %s: is it on, its lamp, its fuse, its volts at its terminals and at the first "
        "plug "
        "behind it; linewalk supply says whether it is overloaded"),
     plugs_off},
    {"line_silent_from", "line", N_("all nodes from one tap on are silent"),
     N_("look at the span just before %s: a plug that is open, a wire off, a supply that is "
        "switched "
        "off there"),
     plugs_off},
    {"line_silent_row", "line", N_("several nodes in a row are silent"),
     N_("look for what %s share: V+ to 0 V at the first and the last of them, the plugs before and "
        "behind them, a factory address that they still have"),
     plugs_off},
    {"line_gateway_path", "line", N_("the gateway has no way to a node"),
     N_("look at the gateway's list of units and at which of its ports each one is; then run the "
        "check again"),
     NULL},
    {"line_gateway_silent", "line", N_("the gateway got no answer from a node"),
     N_("run the check on the line itself, with an adapter beside the gateway: it tells a dead "
        "node "
        "from a gateway that waits too briefly"),
     NULL},
    {"line_gateway_stale", "line", N_("answers may be a gateway's own memory"),
     N_("switch the gateway's cache off, or run the check on the line itself: stored values are "
        "always quiet and always there"),
     NULL},
    {"line_echo", "line", N_("the adapter hears itself"),
     N_("nothing to do for the check, the echo is taken out; a two-wire adapter with its receiver "
        "off "
        "while sending would be without"),
     NULL},
    {"line_parity_lost", "line", N_("the line does not carry parity"),
     N_("judge parity errors on a serial port: a pseudo-terminal or a socket cannot show them"),
     NULL},
    {"line_failed", "line", N_("the line failed during the check"),
     N_("look at the adapter's plug and its USB cable (linewalk ports), then run the check again"),
     NULL},
    {"line_not_written", "line", N_("what was measured could not be written down"),
     N_("make room on the disk, or name a folder that may be written to (--visit), then run the "
        "check again"),
     NULL},
    {"line_interrupted", "line", N_("the check was interrupted"),
     N_("run it again to the end: what is recorded is true but not the whole"), NULL},

    // Listen.
    {"listen_nothing", "listen", N_("nobody asks on this line"),
     N_("check that the controller runs and that the adapter hangs on its line, D0 and D1 the "
        "right "
        "way round; then listen again"),
     NULL},
    {"listen_framing", "listen", N_("the line runs at another framing than planned"),
     N_("ask who set it so; then correct the plan, or the controller and every node together"),
     NULL},
    {"listen_crossed", "listen", N_("questions cross each other"),
     N_("two masters share this line: find the second one (a service laptop, a panel, a gateway) "
        "and "
        "unplug it"),
     running_machine},
    {"listen_not_polled", "listen", N_("the controller does not ask a planned node"),
     N_("look for %s in the controller's list of nodes, at the planned address"), running_machine},
    {"listen_unanswered", "listen", N_("questions of the controller stay without a good answer"),
     N_("find out on the line itself: stop the controller and run linewalk link on %s"),
     running_machine},
    {"listen_exceptions", "listen", N_("a node refuses the controller"),
     N_("compare the function and the registers that the controller asks %s for with its manual"),
     NULL},
    {"listen_register", "listen", N_("the controller does not ask for what is planned"),
     N_("correct function and register for %s in the controller: manuals often count from 1, the "
        "wire "
        "from 0"),
     running_machine},
    {"listen_length", "listen", N_("the controller asks for another length than planned"),
     N_("correct the number of registers for %s in the controller: a value of 32 bits takes two"),
     running_machine},
    {"listen_word_order", "listen", N_("the words of a value are the wrong way round"),
     N_("deflect the sensor of %s by a known amount and compare what the controller shows; then "
        "set "
        "its word order"),
     moving_parts},
    {"listen_unchanged", "listen", N_("a reading does not change"),
     N_("deflect the sensor of %s and see whether the reading follows: a live one moves in its "
        "last "
        "digits, a stored one does not"),
     moving_parts},
    {"listen_unplanned", "listen", N_("the controller asks an address that is not planned"),
     N_("add the node to the plan, or take it out of the controller: each silent one costs its "
        "time-out in every cycle"),
     running_machine},
    {"listen_timeout", "listen", N_("the controller's patience"),
     N_("set the controller's time-out well above the slowest answer (twice is common practice), "
        "or "
        "have one question stay unanswered while listening so that it shows"),
     running_machine},
    {"listen_cycle", "listen", N_("the controller's cycle is longer than planned"),
     N_("take away what costs time: silent nodes with their time-outs, pauses, registers that "
        "nobody "
        "uses"),
     running_machine},

    // Ports.
    {"ports_forbidden", "ports", N_("a port is not this user's to open"),
     N_("sudo usermod -aG %s \"$USER\", then log in again"), NULL},
    {"ports_busy", "ports", N_("another program has the port open"),
     N_("end %s, or wait until it is done: two programs on one port garble each other"), NULL},
    {"ports_latency", "ports", N_("the adapter holds received bytes back"),
     N_("nothing for linewalk, which lowers it while it has the port, where the driver lets it; "
        "for "
        "other programs: echo 1 | sudo tee /sys/class/tty/%s/device/latency_timer, which lasts "
        "until "
        "the adapter is pulled out"),
     NULL},
    {"ports_starved", "ports", N_("the adapter asks for more than its place on USB gives"),
     N_("plug the adapter into the machine itself, or into a hub with a supply of its own"), NULL},
    {"ports_hub_row", "ports", N_("hubs without a supply of their own stand in a row"),
     N_("take one of them out: USB does not allow it, and what is behind the second starves"),
     NULL},
    {"ports_hub_unfed", "ports", N_("a hub runs without its own supply"),
     N_("plug in the hub's supply, or count it as a hub without one"), NULL},
    {"ports_feed", "ports", N_("the chain draws more than USB is sure to give"),
     N_("feed the chain from a supply of its own, or fewer nodes from USB; linewalk supply says "
        "what "
        "they draw"),
     live_parts},
    {"ports_charger", "ports", N_("the charger may tie 0 V to protective earth"),
     N_("use an isolated adapter, or pull the charger while you measure, and say which of the two"),
     NULL},
    {"ports_direction", "ports", N_("the driver cannot switch the direction of the line"),
     N_("set the plan's line.direction to rts, or to adapter for one that switches by itself"),
     NULL},

    // Scan.
    {"scan_missing", "scan", N_("a planned node does not answer"),
     N_("look at %s: is its lamp on? Measure V+ to 0 V at its tap; then try its factory address "
        "and "
        "framing; then its plugs"),
     plugs_off},
    {"scan_none", "scan", N_("no node answers at all"), nobody_answers, NULL},
    {"scan_unplanned", "scan", N_("a node answers that the plan does not have"),
     N_("find out what stands at %s; put it into the plan, or give it its planned address "
        "(linewalk assign NODE --from)"),
     NULL},
    {"scan_doubled", "scan", N_("two nodes answer at one address"),
     N_("unplug one of the two at %s, scan again, give the one that is left its planned address "
        "(linewalk assign NODE --from), then plug the other in"),
     plugs_off},
    {"scan_garbled", "scan", N_("something answers that cannot be read"),
     N_("scan %s again; if it stays, it is two nodes at one address, a node at another framing, or "
        "a "
        "disturbed line: unplug from the tail until it clears"),
     plugs_off},
    {"scan_late", "scan", N_("a node answers later than it should"),
     N_("give the controller a longer time-out than the reply of %s, or look why it is slow: "
        "firmware, "
        "low supply (linewalk supply)"),
     NULL},
    {"scan_wrong_framing", "scan", N_("a node speaks at another framing"),
     N_("set the framing of %s to the plan's (linewalk assign --from, --from-framing) or its "
        "switches, and restart it"),
     NULL},

    // Roster.
    {"roster_missing", "roster", N_("a planned node is not there"),
     N_("look at %s: lamp, supply at its tap, address, plugs; linewalk scan tries harder"),
     plugs_off},
    {"roster_unplanned", "roster", N_("a node is there that the plan does not have"),
     N_("find out what stands at %s; put it into the plan (linewalk roster --as-built) or take it "
        "off"),
     NULL},
    {"roster_swapped", "roster", N_("two nodes stand in each other's place"),
     N_("swap the addresses back (linewalk assign --from; one of them over a free address, --to) "
        "or the nodes at the machine; prove the places with linewalk touch before %s is trusted"),
     moving_parts},
    {"roster_wrong_kind", "roster", N_("a node is of another kind than planned"),
     N_("compare the type label of %s with the plan: exchange it, or correct the plan"), plugs_off},
    {"roster_doubled", "roster", N_("two nodes share an address"),
     N_("unplug one of the two at %s and look who still answers; then give the other its own "
        "address (linewalk assign NODE --from)"),
     plugs_off},
    {"roster_wrong_framing", "roster", N_("a node speaks at another framing"),
     N_("set the framing of %s to the plan's (linewalk assign --from, --from-framing) or its "
        "switches, and restart it"),
     NULL},
    {"roster_unreadable", "roster", N_("a node answers but will not say who it is"),
     N_("ask %s again; if it stays, compare its profile's registers with the maker's manual, then "
        "its "
        "firmware"),
     NULL},
    {"roster_identity_unproved", "roster", N_("kind not proved: the node has no identity to read"),
     N_("compare the type label of %s with the plan and write it down (linewalk note)"), NULL},
    {"roster_serial_unproved", "roster", N_("serial not proved"),
     N_("compare the serial on the label of %s with the plan; a plan without serials can take "
        "those "
        "read now (linewalk roster --as-built)"),
     NULL},
    {"roster_serial_differs", "roster", N_("another node than planned"),
     N_("if %s was exchanged on purpose, revise the plan (linewalk roster --as-built); else find "
        "out "
        "where the planned one is"),
     NULL},
    {"roster_sensor_differs", "roster", N_("another sensor than planned at the node"),
     N_("compare the sensor's label at %s with the plan; its calibration belongs to the sensor, so "
        "read it on a master again"),
     NULL},
    {"roster_firmware_old", "roster", N_("firmware older than the profile asks for"),
     N_("update %s by the maker's procedure, or say in writing why the old one may stay (linewalk "
        "note)"),
     NULL},
    {"roster_firmware_differs", "roster", N_("another firmware than planned"),
     N_("if %s was updated on purpose, revise the plan (linewalk roster --as-built); its readings "
        "may follow other settings now"),
     NULL},
    {"roster_calibration_due", "roster", N_("calibration is due"),
     N_("have %s calibrated or exchange it; until then its readings are not traceable"), NULL},
    {"roster_calibration_unknown", "roster", N_("date of calibration not known"),
     N_("look for the certificate of %s and put its date on record (linewalk note)"), NULL},
    {"roster_stale_identity", "roster", N_("identity from before the sensor was exchanged"),
     N_("restart %s so that it reads its sensor anew, then run linewalk roster again"), NULL},
    {"roster_sensor_open", "roster", N_("no sensor at the node"),
     N_("look at the sensor's plug and cable at %s; try a known good sensor"), plugs_off},
    {"roster_under_voltage", "roster", N_("the node says its supply is too low"),
     N_("run linewalk supply; measure V+ to 0 V at %s under load"), live_parts},
    {"roster_over_range", "roster", N_("the node says its sensor is out of range"),
     N_("look whether the sensor at %s is fixed where it should be, and whether something blocks "
        "it"),
     moving_parts},
    {"roster_fault", "roster", N_("the node reports a fault"),
     N_("read the lamp of %s against its profile's table; restart it; exchange it if it stays"),
     plugs_off},
    {"roster_restarted", "roster", N_("the node has restarted by itself"),
     N_("look for a weak supply or a loose plug at %s (linewalk supply, then linewalk restart)"),
     NULL},

    // Restart.
    {"restart_stays_away", "restart", N_("nodes stay away after switching on"),
     N_("measure V+ to 0 V at %s while they are silent: below their start voltage the supply "
        "cannot "
        "start them all at once (linewalk supply), at full voltage look at the nodes themselves"),
     live_parts},
    {"restart_order", "restart", N_("who comes depends on the order of the sections"),
     N_("switch the sections on in the order that works until %s has a stronger supply or a nearer "
        "feed, and write that order on the cabinet"),
     NULL},
    {"restart_sometimes", "restart", N_("nodes come at one time and not at another"),
     N_("switch off and on more often (--cycles 10) and look at %s meanwhile: lamp, plug, supply "
        "at "
        "its tap"),
     plugs_off},
    {"restart_hiccup", "restart", N_("a supply tries again and again"),
     N_("look at the lamp of %s: it blinks with the tries; unplug half of its nodes and switch on "
        "again, then find the short or the overload, or fit a larger supply"),
     plugs_off},
    {"restart_again", "restart", N_("a node goes down again after it has come up"),
     N_("run linewalk supply, then look at the plug of %s; exchange the node if its supply is "
        "right"),
     plugs_off},
    {"restart_lost", "restart", N_("a node comes up and falls silent again"),
     N_("look at the lamp of %s and measure V+ to 0 V at its tap when the last of its neighbours "
        "has started"),
     live_parts},
    {"restart_slow", "restart", N_("a node needs long for its first answer"),
     N_("give the controller more time before it asks %s, or look why it is slow: low supply, "
        "firmware"),
     NULL},
    {"restart_identity_stale", "restart", N_("a node has to read its sensor again"),
     N_("leave the sensor of %s plugged in, switch the section off and on once more, then run "
        "linewalk roster"),
     plugs_off},
    {"restart_identity_anew", "restart", N_("a node has read its sensor anew"),
     N_("run linewalk roster again: what it read of %s before no longer holds"), NULL},
    {"restart_identity_changed", "restart", N_("another node answers after the restart"),
     N_("look for a second node at the address of %s: the quicker one answers first; run linewalk "
        "scan, then linewalk roster"),
     plugs_off},
    {"restart_reading_shifts", "restart", N_("a reading is another after the restart"),
     N_("let %s warm up as its profile says, then zero it anew; an encoder that counts from where "
        "it "
        "starts needs its reference"),
     NULL},
    {"restart_still_on", "restart", N_("nodes with another supply than planned"),
     N_("find out what feeds %s: a supply that the plan does not have, a laptop, a bridge between "
        "sections"),
     N_("a section that is switched off may still be live: measure before a plug is opened")},
    {"restart_not_off", "restart", N_("nothing was switched off"),
     N_("find the switch that takes the supply away from %s, then run linewalk restart again"),
     N_("a section that is switched off may still be live: measure before a plug is opened")},

    // Link.
    {"link_error_rate", "link", N_("errors on the line"),
     N_("look which nodes have them: one node points to its plug or tap, all nodes to termination, "
        "bias, earthing or the adapter; poll longer where it is undecided"),
     NULL},
    {"link_node_differs", "link", N_("one node has more errors than the others"),
     N_("look at the plug and the stub of %s; swap it with a neighbour: do the errors move with "
        "the "
        "node or stay at the place?"),
     plugs_off},
    {"link_silent", "link", N_("a node does not answer at all"),
     N_("look at %s: lamp, supply at its tap, plugs; linewalk scan tries harder"), plugs_off},
    {"link_bursts", "link", N_("errors come in bursts"),
     N_("look what switches at those moments: contactors, brakes, welding, drives; compare the "
        "times "
        "in "
        "the capture with the machine's log"),
     NULL},
    {"link_reply_slow", "link", N_("replies slower than allowed"),
     N_("give the controller a longer time-out than the slowest reply of %s; look at its supply "
        "and "
        "firmware"),
     NULL},
    {"link_reply_late", "link", N_("replies that come after their time-out"),
     N_("%s answers after its time is over and so spoils the next node's answer: blame it first, "
        "lengthen the time-out, then look at its supply"),
     NULL},
    {"link_cycle", "link", N_("the wanted cycle cannot be held"),
     N_("poll faster (a higher rate, longer blocks, fewer registers) or take nodes to a second "
        "line"),
     NULL},
    {"link_exceptions", "link", N_("a node refuses requests"),
     N_("compare the registers asked of %s with the maker's manual and its firmware"), NULL},
    {"link_wrong_answers", "link", N_("answers that do not fit the question"),
     N_("look for a second master, a doubled address or a gateway that mixes answers around %s"),
     NULL},
    {"link_no_data", "link", N_("no polls to judge"),
     N_("run linewalk link on the line with the chain powered"), NULL},

    // Supply.
    {"supply_under_minimum", "supply", N_("supply voltage too low at a node"),
     N_("shorten or thicken the way to %s, feed it from nearer, or spread the load over a second "
        "supply"),
     supply_settings},
    {"supply_margin", "supply", N_("little supply margin at a node"),
     N_("look at the joints before %s and keep spare nodes off this section; a second feed gives "
        "margin"),
     supply_settings},
    {"supply_worst_case", "supply", N_("too low at the far end of the tolerances"),
     N_("measure V+ to 0 V at %s under full load: a measured value takes the tolerances' place"),
     live_parts},
    {"supply_over_maximum", "supply", N_("supply voltage too high at a node"),
     N_("turn the supply down or fit the one that is planned before %s is plugged in"), plugs_off},
    {"supply_overload", "supply", N_("a supply is past its limit"),
     N_("move nodes from %s to another supply, or fit a larger one; mind its derating with the "
        "cabinet's temperature"),
     NULL},
    {"supply_load_high", "supply", N_("a supply carries more than allowed"),
     N_("plan a larger supply for %s or a second feed; measure its current to be sure"),
     live_parts},
    {"supply_span_over_rating", "supply", N_("more current than a span is rated for"),
     N_("feed the chain beyond %s separately, or use a thicker cable there"),
     N_("an overloaded cable or plug gets hot: do not leave it so")},
    {"supply_no_operating_point", "supply", N_("the supply cannot carry all nodes at once"),
     N_("take nodes off, feed the far end as well, or thicken the cable: the plan as it is does "
        "not "
        "work"),
     NULL},
    {"supply_cold_start_trap", "supply", N_("nodes stay off after switching on"),
     N_("switch sections on one after the other, or feed %s from nearer; prove it with linewalk "
        "restart"),
     NULL},
    {"supply_dip_trap", "supply", N_("nodes stay off after a short dip"),
     N_("the dip takes %s off and the rest keeps it from starting: give the section more supply, "
        "or "
        "a supply that holds up longer"),
     NULL},
    {"supply_resets_in_turn", "supply", N_("nodes reset in turn"),
     N_("%s would start, fall below its drop-out voltage and start again: give the section more "
        "supply "
        "before looking for any other fault"),
     NULL},
    {"supply_sources_in_parallel", "supply", N_("two supplies feed one rail"),
     N_("cut V+ between the two supplies or isolate them, unless their maker allows them in "
        "parallel: "
        "look at %s"),
     N_("a supply that is switched off may still be live from the other one: secure both")},
    {"supply_weak_span", "supply", N_("more resistance than planned in a span"),
     N_("open, clean and re-make the joints of %s, tighten its terminals, then measure again"),
     plugs_off},
    {"supply_span_suspect", "supply", N_("perhaps more resistance than planned in a span"),
     N_("open no joint for this alone: measure along V+ and along 0 V across %s with all running "
        "(linewalk supply --meter), or see every span by a load step (--load-step)"),
     live_parts},
    {"supply_starved", "supply", N_("a node has too little supply to be trusted"),
     N_("do not trust readings or errors of %s before its supply is right: find the weak span or "
        "feed "
        "it from nearer"),
     plugs_off},
    {"supply_zero_v_parallel", "supply", N_("0 V has a second way through the machine frame"),
     N_("open the bonds of 0 V one by one (end clamps, shields, a laptop's charger) until the 0 V "
        "rise "
        "fits the plan; 0 V belongs to earth at one place"),
     N_("never open a protective earth: only the bonds of 0 V are meant")},
    {"supply_draw_differs", "supply", N_("measured current differs from the plan"),
     N_("count the nodes on %s and compare with the plan: a doubled or unplanned node draws too"),
     live_parts},
    {"supply_voltmeter_off", "supply", N_("a node's voltmeter is not to be believed"),
     N_("measure V+ to 0 V at %s with a hand meter and compare"), live_parts},
    {"supply_not_measured", "supply", N_("supply computed, not measured"),
     N_("measure V+ to 0 V at %s with a hand meter (linewalk meter), or use nodes with a "
        "voltmeter"),
     live_parts},
    {"supply_not_computed", "supply", N_("supply not computed"),
     N_("put what is missing into the plan: spans with length and conductor, supplies with voltage "
        "and "
        "limit, loads in the profiles"),
     NULL},
    {"supply_bias_low", "supply", N_("idle voltage of the data pair too low"),
     N_("strengthen the bias or take a terminator off that is one too many; measure D1 to D0 with "
        "nobody sending"),
     NULL},
    {"supply_unit_loads", "supply", N_("too many receivers on the data pair"),
     N_("split the line with a repeater, or use nodes with a smaller unit load"), NULL},

    {"supply_driver_load", "supply", N_("the data pair loads its drivers too much"),
     N_("take a terminator off that is one too many, or use larger bias resistors"), NULL},
    {"supply_terminations", "supply", N_("terminators missing, too many, or not at the ends"),
     N_("put one terminator at each end of the pair and none between, and correct the plan"), NULL},
    {"supply_line_long", "supply", N_("the data pair is long for its rate (rule of thumb)"),
     N_("prove it with linewalk link, or take a lower rate or a repeater"), NULL},
    {"supply_stub_long", "supply", N_("a stub is long for the rate (rule of thumb)"),
     N_("shorten the stub, take the pair through the node, or prove it with linewalk link"), NULL},
    {"supply_zero_v_rise", "supply", N_("0 V differs too much along the data pair"),
     N_("feed the far end from nearer, thicken 0 V, or isolate the pair in between"),
     N_("never open a protective earth to break a loop of 0 V")},
    {"supply_cycle", "supply", N_("the rate does not allow the wanted cycle"),
     N_("take a higher rate, fewer nodes on this line or a longer cycle; linewalk link measures "
        "it"),
     NULL},

    // Noise.
    {"noise_over_limit", "noise", N_("noise above the limit"),
     N_("look around %s: fixing, a magnet, a drive's cable, its earth; switch suspects off and on "
        "(linewalk noise --switch)"),
     moving_parts},
    {"noise_undecided", "noise", N_("noise not decided yet"),
     N_("measure %s longer at rest: --seconds as the finding says, or --decide"), NULL},
    {"noise_disturbed", "noise", N_("a node is disturbed from outside"),
     N_("look for a magnet, a drive or its cable near %s; switch the suspect off, on, on, off and "
        "compare (linewalk noise --switch)"),
     moving_parts},
    {"noise_mains", "noise", N_("mains in the readings"),
     N_("look at the shield and the earth of %s, at cables laid beside its own, at transformers "
        "and "
        "lamps near it"),
     live_parts},
    {"noise_tone", "noise", N_("one frequency in the readings"),
     N_("look what turns or switches at that frequency near %s; the node samples itself, so the "
        "true "
        "one may be a multiple away"),
     NULL},
    {"noise_drift", "noise", N_("the reading drifts at rest"),
     N_("let %s warm up as its profile says and measure again; then look at its fixing and at "
        "draughts"),
     NULL},
    {"noise_stuck", "noise", N_("the reading does not move at all"),
     N_("deflect the sensor at %s by hand (linewalk touch): does it follow? Restart or exchange it "
        "if "
        "not"),
     moving_parts},
    {"noise_outliers", "noise", N_("single readings far off"),
     N_("look for switching near %s at those times; loose plug, spark, or a bad value that the "
        "node "
        "should have flagged"),
     NULL},
    {"noise_jumps", "noise", N_("a reading that jumps to and fro"),
     N_("open and close the plug at %s, move its cable while somebody watches: a contact or a core "
        "is "
        "loose"),
     moving_parts},
    {"noise_step", "noise", N_("a reading that moved once"),
     N_("ask what happened at %s at that moment: somebody touched it, a magnet or a part was "
        "moved"),
     NULL},
    {"noise_saturated", "noise", N_("at the end of the range"),
     N_("bring the sensor at %s into its range and measure again; if it is there, it is unplugged "
        "or "
        "broken"),
     moving_parts},
    {"noise_loop_failed", "noise", N_("the transmitter signals a failure"),
     N_("look at the transmitter of %s, its loop supply and its wires: open or shorted"),
     live_parts},
    {"noise_loop_guard", "noise", N_("a loop between measuring and failing"),
     N_("look whether the transmitter of %s is out of its range, or its loop supply is low"), NULL},
    {"noise_counts_lost", "noise", N_("an encoder counts at rest"),
     N_("look at the encoder cable of %s: shield on both ends, away from motor cables; is the "
        "machine "
        "really at rest?"),
     moving_parts},
    {"noise_feed_pressure", "noise", N_("the feed pressure of an air gauge varies"),
     N_("look at the regulator and filter before %s, and who else takes air from that pipe"), NULL},
    {"noise_common", "noise", N_("a disturbance common to all nodes"),
     N_("it comes with what all share: look at the supply, its 0 V to earth, the shields' earth; a "
        "place along the chain is not the cause"),
     live_parts},
    {"noise_near", "noise", N_("a disturbance strong at one place"),
     N_("look near %s for a magnet, a drive or its cable; keep magnets and drives away from "
        "inductive "
        "probes; switch the suspect off, on, on, off and compare (linewalk noise --switch)"),
     moving_parts},
    {"noise_source_steady", "noise", N_("a source shifts the reading"),
     N_("keep it away from %s, or zero the sensor with the source as it is while measuring"),
     reach_not},
    {"noise_source_alternating", "noise", N_("a source makes the reading noisier"),
     N_("part its cables from those of %s, see to shields and filters of the source"), reach_not},
    {"noise_no_limit", "noise", N_("no limit to judge the noise against"),
     N_("give a limit in the profile, in the plan for %s, or with --limit"), NULL},
    {"noise_no_data", "noise", N_("no readings to judge"),
     N_("look why %s gives none: linewalk scan, linewalk roster; does its profile name a reading?"),
     NULL},

    // Touch walk.
    {"touch_swapped", "touch", N_("two nodes stand in each other's place"),
     N_("swap their addresses (linewalk assign) or the nodes; then touch %s and the other again"),
     moving_parts},
    {"touch_elsewhere", "touch", N_("another node sits at a place"),
     N_("find out where %s is: touch it by itself in any order (linewalk touch --any-order); then "
        "correct the addresses or the plan"),
     moving_parts},
    {"touch_no_answer", "touch", N_("a sensor was deflected and no node answered"),
     N_("look whether the sensor of %s is plugged into its node and free to move; linewalk noise "
        "tells a stuck reading"),
     moving_parts},
    {"touch_reversed", "touch", N_("a sensor's sign is reversed"),
     N_("correct the mounting of %s, its scale in the machine's controller, or `moves` in the "
        "plan: a wrong sign turns a correction into a worse part"),
     moving_parts},
    {"touch_sign", "touch", N_("a sensor's sign is not proved"),
     N_("touch %s again by itself, from rest (linewalk touch --nodes)"), moving_parts},
    {"touch_travel", "touch", N_("a sensor's travel is not proved"),
     N_("deflect %s once more, slowly, through all of its travel"), moving_parts},
    {"touch_sticks", "touch", N_("a sensor does not come back to where it was"),
     N_("clean the tip and the guide of %s, look at its clamping (too tight squeezes the guide) "
        "and at its cable; then touch it again"),
     moving_parts},
    {"touch_few", "touch", N_("a sensor was touched fewer times than asked for"),
     N_("touch %s again if its return matters"), moving_parts},
    {"touch_coupled", "touch", N_("a neighbour moves with a sensor"),
     N_("look what ties %s to its neighbour: a plate that bends, a common holder, a field between "
        "coils too close to each other; such a pair measures one another"),
     moving_parts},
    {"touch_supply_dip", "touch", N_("a supply fell while hands were at the machine"),
     N_("look at the plugs and joints before %s: one of them opens when its cable moves"),
     live_parts},
    {"touch_bus_errors", "touch", N_("answers were lost while hands were at the machine"),
     N_("look at the plugs of %s and at the cables that were moved: linewalk watch shows the "
        "moment"),
     moving_parts},
    {"touch_spikes", "touch", N_("single readings far off"),
     N_("look at the sensor plug and cable of %s: a contact opens for a moment"), moving_parts},
    {"touch_skipped", "touch", N_("a sensor was left out of the walk"),
     N_("prove the place of %s before its readings are trusted"), moving_parts},
    {"touch_untouched", "touch", N_("sensors were not touched"),
     N_("go on with the walk: linewalk touch --resume takes over what is proved"), moving_parts},
    // Hand meter.
    {"meter_live", "meter", N_("the rail is not dead"),
     N_("switch the supply off and secure it, wait until its capacitors are empty, measure %s "
        "again"),
     live_parts},
    {"meter_value", "meter", N_("a hand meter's value outside its band"),
     N_("measure again at %s, then look at the plan"), live_parts},
    {"meter_short", "meter", N_("V+ is shorted, or nearly"),
     N_("do not switch on: part the chain in the middle and measure both halves from %s until the "
        "short is found"),
     plugs_off},
    {"meter_polarity", "meter", N_("a supply's V+ does not reach V+ of the chain"),
     N_("look at the lead of %s from terminal to terminal: swapped, open, fuse out"), plugs_off},
    {"meter_pair", "meter", N_("the data pair's resistance is not that of the plan"),
     N_("look for the terminators at both ends and only there, then measure from the other end of "
        "%s: a broken pair shows at one end only"),
     plugs_off},
    {"meter_pair_zero", "meter",
     N_("a data wire touches 0 V or the shield, or the bias is not as "
        "planned"),
     N_("unplug nodes one by one from the far end and watch the meter at %s: what it jumps at is "
        "the place; then look at the bias"),
     plugs_off},
    {"meter_bond", "meter", N_("0 V is not bonded where the plan bonds it"),
     N_("look at the clamp and its bare metal at %s"), plugs_off},
    {"meter_second_bond", "meter", N_("0 V reaches the frame at a second place"),
     N_("look for end clamps, shields and a laptop's charger that bond 0 V beside %s; 0 V belongs "
        "to the frame at one place"),
     N_("never open a protective earth: only the bonds of 0 V are meant")},
    {"meter_fuse", "meter", N_("a fuse does not fit the plan"),
     N_("fit the fuse that the draw and the thinnest cable behind %s call for"), plugs_off},
    {"meter_supply", "meter", N_("a supply's voltage is not as set"),
     N_("measure at the terminals of %s once more under load, then set it"), supply_settings},
    {"meter_draw", "meter", N_("a supply gives more or less than planned"),
     N_("count the nodes on %s and compare with the plan"), live_parts},
    {"meter_volts", "meter", N_("the voltage at a tap is not as planned"),
     N_("measure at the taps before %s: the drop is where two neighbours differ most; then "
        "linewalk "
        "supply --meter with this file"),
     live_parts},
    {"meter_idle", "meter", N_("the idle voltage of the data pair is wrong"),
     N_("with nobody sending measure D1 over D0 again at %s; then look at bias, terminators, and "
        "whether D1 and D0 are swapped"),
     live_parts},
    {"meter_frame", "meter", N_("0 V is too far from the frame"),
     N_("measure 0 V to the frame at the bond and at %s with all nodes on: what rises between is "
        "the return current's drop"),
     N_("never open a protective earth to break a loop of 0 V")},
    {"meter_left", "meter", N_("values of the hand meter were left out"),
     N_("make them up: linewalk meter asks for all of them"), NULL},
    {"meter_earth_left", "meter", N_("protective conductor left to a qualified person"),
     N_("have its continuity tested by a qualified person with a tester made for it, and the "
        "result "
        "put with this report"),
     N_("a hand meter's small current proves no protective conductor")},
    {"meter_instrument_due", "meter", N_("the meter has no valid certificate"),
     N_("measure again with a meter in date, or have %s calibrated and say so"), NULL},

    // Checklist.
    {"checklist_no", "checklist", N_("something is not as it should be"),
     N_("put it right, then answer %s again"), moving_parts},
    {"checklist_open", "checklist", N_("a required item was not answered"),
     N_("look at %s, then run linewalk checklist again"), moving_parts},

    // Resend: a recording's reads sent again.
    {"compare_supply_lower", "compare", N_("less voltage than on the earlier visit"),
     N_("look what was added since, then at the joints and the supply before %s (linewalk supply)"),
     N_("switch the supply off and secure it before a joint is opened")},
    {"compare_noise_grown", "compare", N_("more noise than on the earlier visit"),
     N_("look what was mounted or moved near %s since; linewalk noise names what it sees"),
     N_("keep clear of moving machines: look with the drives off and locked out")},
    {"compare_errors_grown", "compare", N_("more errors than on the earlier visit"),
     N_("look at plug and tap of %s, then at termination and cable routing (linewalk link)"), NULL},
    {"compare_exchanged", "compare", N_("nodes were exchanged since the earlier visit"),
     N_("check that each exchanged node was read on a gauge block or calibrator since"), NULL},
    {"compare_nothing", "compare", N_("nothing to compare"),
     N_("run the checks on both visits: comparing needs supply, link or noise with the plan"),
     NULL},
    {"resend_identity_differs", "resend", N_("a node is not the one that was recorded"),
     N_("if %s was exchanged on purpose, revise the plan (linewalk roster --as-built); else find "
        "out "
        "where the recorded one is"),
     NULL},
    {"resend_upkeep_differs", "resend", N_("a node was updated or calibrated since the recording"),
     N_("compare the certificate and the firmware of %s with the day of the recording before its "
        "readings are"),
     NULL},
    {"resend_silent", "resend", N_("a node that answered on the recording is silent"),
     N_("look at %s: lamp, supply at its tap, address, plugs; linewalk scan tries harder"),
     plugs_off},
    {"resend_more_errors", "resend", N_("more errors than on the recording"),
     N_("run linewalk link: it finds the rate and the node; compare what runs beside the line now "
        "with "
        "what ran then"),
     NULL},
    {"resend_refusals_differ", "resend",
     N_("a node refuses what it answered, or the other way round"),
     N_("compare the firmware and the registers of %s with the maker's manual"), NULL},
    {"resend_reading_differs", "resend", N_("a reading is not as it was recorded"),
     N_("look whether the part, the temperature and the machine's state are those of the "
        "recording; "
        "then read %s on a master"),
     moving_parts},
    {"resend_status_differs", "resend", N_("a node's status is not as it was recorded"),
     N_("run linewalk roster: it says what the status of %s means"), NULL},
    {"resend_timing_differs", "resend", N_("a node's reply time is not as it was recorded"),
     N_("compare the firmware of %s and its supply with the day of the recording; mind that "
        "another "
        "adapter has other delays"),
     NULL},
    {"resend_not_judged", "resend", N_("readings were not compared"),
     N_("name the plan (--plan), and a tolerance (--tolerance) where it has no noise limit for %s"),
     NULL},
    {"resend_left_out", "resend", N_("a part of the recording was not sent"),
     N_("writes change what a machine does: send them only with --allow-writes, and only where "
        "nothing "
        "can move"),
     moving_parts},
    {"resend_nothing", "resend", N_("nothing to send again"),
     N_("look with linewalk decode what the recording holds: without requests nothing can be "
        "asked"),
     NULL},

    // Watch.
    {"watch_dropped", "watch", N_("a node dropped out while it was watched"),
     N_("with the power off, open and look at the plugs and the tap of %s and at both ends of its "
        "span: a loose screw, a bent pin, a crushed wire; make it good and watch again"),
     plugs_off},
    {"watch_break", "watch", N_("the end of the chain fell silent together"),
     N_("look at %s first, at both its ends: what is common to all that fell silent lies there"),
     plugs_off},
    {"watch_never", "watch", N_("a node did not answer at all while it was watched"),
     N_("look at %s: lamp, supply at its tap, plugs; linewalk scan tries harder"), plugs_off},
    {"watch_errors", "watch", N_("single polls of a node go wrong"),
     N_("run linewalk link: it tells chance from a bad joint at %s"), NULL},
    {"watch_jumped", "watch", N_("a reading jumped while it was watched"),
     N_("when nobody touched the part, look at the sensor plug of %s and at its fixing, then for a "
        "magnet or a drive beside it (linewalk noise)"),
     moving_parts},
    {"watch_restarted", "watch", N_("a node started anew while it was watched"),
     N_("look at the supply joints up to %s; linewalk supply says what its tap should have"),
     plugs_off},
    {"watch_flagged", "watch", N_("a status bit came up while it was watched"),
     N_("look at the sensor plug and the cable of %s; linewalk roster says what its status means"),
     plugs_off},
    {"watch_volts", "watch", N_("too few volts while it was watched"),
     N_("run linewalk supply: it finds the span before %s that lost them"), plugs_off},
    {"watch_unplugged", "watch", N_("the tester's own line was gone"),
     N_("look at the tester's plug and USB cable, and watch again"), NULL},
    {"watch_nothing", "watch", N_("nothing was watched"),
     N_("run linewalk watch again, and let it ask every node at least once"), NULL},

    // Assign.
    {"assign_nobody", "assign", N_("no new node answered"),
     N_("look at %s: lamp, plugs, supply; if it has an address already, say which (linewalk assign "
        "--from), and at which framing (--from-framing)"),
     plugs_off},
    {"assign_doubled", "assign", N_("more than one new node answered"),
     N_("unplug all new nodes but %s, then assign it again; linewalk assign --walk takes them one "
        "by one"),
     plugs_off},
    {"assign_taken", "assign", N_("the new address is taken"),
     N_("find out who answers at the address of %s (linewalk roster); move it to a free one first "
        "(linewalk assign --from, --to)"),
     NULL},
    {"assign_wrong_kind", "assign", N_("the node is of another kind than planned"),
     N_("compare the type label with the plan for %s: exchange the node, or correct the plan"),
     plugs_off},
    {"assign_cannot", "assign", N_("the profile does not say how the address is given"),
     N_("set the address of %s as its maker's manual says, or put that into its profile (setup)"),
     NULL},
    {"assign_left", "assign", N_("a node was not given its address"),
     N_("assign it when it can be: linewalk assign %s"), NULL},
    {"assign_refused", "assign", N_("the node refused what was written"),
     N_("compare the setup in the profile of %s with the maker's manual: registers, unlocking, "
        "function, and whether a key or jumper has to be set"),
     NULL},
    {"assign_unproved", "assign", N_("a node was written to and not looked for since"),
     N_("restart %s and assign it again: it is looked for where it is to be, then where it was"),
     plugs_off},
    {"assign_lost", "assign", N_("a node was written to and not found at its new place"),
     N_("restart %s and look for it: linewalk scan, at the old and at the new framing; then assign "
        "it again from where it is (linewalk assign --from, --from-framing)"),
     plugs_off},
    {"assign_undone", "assign", N_("what was written was undone"),
     N_("assign it when it is known why it was undone: linewalk assign %s"), NULL},
    {"assign_other_serial", "assign", N_("another module than planned got the address"),
     N_("if %s was exchanged on purpose, revise the plan (linewalk roster --as-built) and read it "
        "on a master"),
     NULL},
    {"assign_neighbour_reset", "assign", N_("a node restarted while another was plugged"),
     N_("plug %s and its like with the section's supply off; look for a weak supply or plug there "
        "(linewalk supply)"),
     plugs_off},
    {"assign_neighbour_silent", "assign", N_("a node fell silent while another was worked on"),
     N_("look at plugs and addresses beside %s: a node with the same address, a plug not home"),
     plugs_off},

    // Acceptance and the walk.
    {"acceptance_not_done", "acceptance", N_("a required check was not done"),
     N_("run linewalk %s, or say why it is left out (linewalk commission asks)"), NULL},
    {"acceptance_not_whole", "acceptance", N_("a required check was not finished"),
     N_("run linewalk %s again to the end"), NULL},
    {"acceptance_skipped", "acceptance", N_("a required check was left out on purpose"),
     N_("make up for %s as soon as the reason is gone"), NULL},
    {"acceptance_simulated", "acceptance", N_("made on a virtual chain"),
     N_("nothing here proves anything about a machine: walk the real chain before anybody signs"),
     NULL},
    {"acceptance_plan_changed", "acceptance", N_("checks were made against different plans"),
     N_("run the checks of the older plan again, %s first"), NULL},
    {"acceptance_state_unproved", "acceptance", N_("not proved with the machine as it will run"),
     N_("run linewalk %s again with the drives on (--state \"drives on\")"), moving_parts},
    {"acceptance_chain_broken", "acceptance", N_("the visit's records do not fit together"),
     N_("find out who changed, removed or added a file at record %s; restore it from the hand-over "
        "copy or walk again"),
     NULL},
    {"commission_skipped", "commission", N_("a step of the walk was left out"),
     N_("run linewalk %s when the reason is gone"), NULL},
    {"commission_stopped", "commission", N_("the walk was stopped before its end"),
     N_("run linewalk commission again: it goes on at the step that was open"), NULL},

    // The visit itself.
    {"note_open_point", "note", N_("an open point"),
     N_("settle it, or name who will and by when, before the report is signed"), NULL},
    {"visit_instrument_due", "visit", N_("an instrument's certificate has run out"),
     N_("measure again with an instrument in date, or have %s calibrated and say so"), NULL},
    {"visit_clock_off", "visit", N_("the laptop's clock is off"),
     N_("set the clock; the offset stands on record, so times can be corrected"), NULL},
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
