// Package circuit models supervised output circuits and what volt-free contacts switch.
//
// What it models. A two-core cable from a module's two terminals past its loads to the
// end-of-line resistor (a branch), or back to the module (a ring, whose resistor stands at the
// return terminals). Both cores are there: a break or a bad joint of one core, a short of any
// ohms, and earths of either core are what they are. At rest a small supervision voltage of
// reversed polarity drives a current through cable and resistor; each load's series diode blocks
// it, unless the load is connected the wrong way round. The module reads the resistance at its
// terminals and calls it normal, open or short, or, if it is normal and a core leaks to earth, earth. Active,
// the supply's voltage stands at the
// terminals (of a ring: at both ends) and each load takes constant current or constant power;
// whether it works follows from the voltage at its own terminals.
//
// A short-circuit isolator stands in the positive core between a load's two line terminals, and the
// load is fed from whichever side lives. At rest isolators do nothing: like the loads they are
// made for the polarity of an alarm, and the supervision current, some milliamperes the wrong way
// round, passes them as it passes a closed contact; so the module sees the whole cable, and a short
// anywhere reads short. What an alarm then does depends on the class. A ring with isolators (class X) is
// energised in spite of a short, and the module's two terminals part from a shorted section as
// isolators would; any other circuit is held off, isolators or not. Active, isolators are where they
// settle: closed from each end outwards until one would have less than 10 V, or border a section whose
// short leaves it less, or let the circuit take more than twice its rated current, as an isolator that
// watches its current does. The milliseconds until they have settled are left out, and so is the dip
// that the rest of the circuit sees meanwhile. All of this is common practice; what it comes to is the
// class table of NFPA 72 chapter 12.
//
// A load's characteristic is three straight pieces (one of them a hyperbola for constant power):
// nothing up to its diode's forward voltage; then rising in proportion up to its knee, half its
// least voltage; then its rated current or power. With constant currents the solution is unique;
// with constant power the one with the highest voltages is taken, as a circuit that is switched on
// from a stiff supply finds it. Where the search ends without a steady solution, which takes far more
// constant power than the cable can carry, that is an outcome: Collapsed.
//
// What it leaves out, and says so: the end-of-line resistor's own current while the circuit is
// active (the drop calculation of the trade leaves it out too); inrush and transients; the
// resistance of the module's own switch; earths of other circuits on the same supply (one earth
// each on two circuits is a short that no circuit alone can see); synchronising signals; the
// equipment that hangs on a circuit through `drives`, which is not a load unless it is listed.
//
// Invariants. A Circuit is immutable; State is plain data without pointers into it, CopyFrom is a
// fork. A solve is O(loads) and allocates nothing once its Work is large enough. Elimination only
// adds and multiplies positive conductances (star to mesh), so a part that is cut off stays at
// exactly nothing instead of at the quotient of two rounding errors. Results leave the package as
// integer microvolts, microamperes and milliohms.
//
// Validation. The voltage-drop examples and the initiating circuit of the tables named beside the
// tests; random circuits with random faults against dense elimination and against a
// general-purpose circuit simulator; conservation of current and power after every solve in a
// test. No measurement of a real circuit was compared.
//
// A simulation does not replace the tests that the local code and a licensed practitioner require.
package circuit
