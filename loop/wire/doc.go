// Package wire models one addressable loop as the direct-current circuit that it is, and what its
// short-circuit isolators and devices do about it in time.
//
// What it models. Both conductors: every run of cable, joint, isolator and panel terminal has its
// resistance per core; devices draw current between the cores; shorts of any resistance lie between
// them; earth faults connect a core to earth, which is tied to nothing else, so that one of them
// changes nothing and two on opposite cores are a short. The panel drives the first terminal, and
// on request the far one too. Isolators open when the line collapses, test what lies beyond before
// they close, and close one after another from every live end. Devices ride through short gaps, drop
// out, and restart.
//
// Simplifications, all common practice where no standard is named:
//   - An isolator switches the positive core, so an earth on the negative core stays in sight of the
//     panel. The panel's terminals switch both cores.
//   - An isolator senses the voltage at its terminals and, as one that also watches its current does,
//     that at every short or earth that draws one in the two sections it borders; what a bad joint
//     keeps from devices beyond it is none of its business. A line without voltage counts as
//     collapsed, and an isolator without voltage on either side stays open. Leakage of an open
//     isolator is not modelled.
//   - A device that is joined to the line by both cores draws its standby current, working or not.
//     Its indicator and its sounder go off when it stops working, and stay off until they are
//     commanded again: a loop that browns out in alarm does not chatter.
//   - A sounder draws a constant current or, where the site says so, a constant power; all else draws
//     constant currents.
//   - A device that would be left with less than a volt draws nothing and counts as without voltage.
//   - The driver limits its current. When its output falls below 10 V it folds back to a quarter
//     of the limit; when what is asked for exceeds the limit without a short, the line has
//     collapsed, which is an outcome and not an error. The controller raises an overload when the
//     driver has stood in its limit for 10 s, or has come into it or collapsed, or a device has lost its
//     voltage, for the third time within a minute though nobody has worked on the loop. It ends when
//     the driver has been out of its limit for 10 s; one of the second kind not before somebody has
//     worked on the loop or less is asked of it.
//   - A device connected the wrong way round conducts, as its protective diode does: a short between
//     its line terminals, and where an isolator is built into it on either side of that, since what
//     would part them conducts too. It ends when the device is put right or taken out.
//   - A device that is taken out leaves its base, with the isolator in it, and draws nothing.
//   - No connection has less than 0.1 milliohm per core.
//   - The panel takes a core of more than 1 kilohm for broken.
//
// What it leaves out: an indication of a short of so many ohms that the driver stays below its limit,
// as long as every device keeps its voltage; signalling waveforms, inductance, charging of cable
// capacitance, ageing, and the earth-fault monitor's own resistance (ideal: it sees every earth of a
// core that is joined to a driven terminal).
//
// Invariants. A solve costs time proportional to the devices and allocates nothing. Elimination
// is by star-mesh transformation, in which conductances are only added, multiplied and divided:
// nothing cancels, whatever the resistances. Constant power is found by Newton's method, a few such
// solves however many the devices; only its tangents are negative conductances. All thresholds are
// compared in whole microvolts. State holds plain data only, so that CopyFrom is a fork. Closing an isolator never makes another
// one open, so what happens after a fault comes to rest.
//
// Validation. Dense elimination (gonum) on random networks, ngspice on random networks with faults,
// conservation of current and power after every solve of a test, worked values and class tables
// with their sources beside them, random faults against the settled rule worked out by hand.
//
// A simulation does not replace the tests that the local code and a licensed practitioner require.
package wire
