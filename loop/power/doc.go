// Package power models the supplies of a site, the external ones and the panel's own: mains,
// charger, battery, fuse and current limit, and what each supply says about itself.
//
// What it models. With mains, the output stands at its nominal voltage and the charger fills the
// battery. Without, the battery carries the load at once and its charge counts down: current x
// time, in whole microampere-nanoseconds. Above C/20 a current takes 1.75 times its worth, as BS
// 5839-1's sizing formula counts it. Voltage on battery has two steps, each at its worst: the
// low-battery voltage until low battery, the end voltage until the end of discharge, where the
// output is disconnected until the mains are back. A load above the current limit takes the output
// away until it is less; one above the fuse blows it after a second. Faults are indicated after
// their delays and cleared at once when they end.
//
// What it leaves out, and says so: the voltage between the two steps; temperature and age of the
// battery; loads that draw less as the voltage falls; the charger's own limit when load and charge
// together are too much; the internal-resistance test of the battery; a supply that is overloaded
// by its output but still delivers something.
//
// Invariants. Everything is integer: microamperes, microvolts, nanoseconds, charge in 128 bits, so
// that many small steps give exactly what one large step gives, and 24 h of standby is one event.
// State holds no pointers; CopyFrom is a fork. Changes of one instant come in the order of the
// supplies; each names the event that it follows from.
//
// Validation. Sizing against published training examples and the annex formula; discharge against
// the same formulas (a battery of exactly the unmargined size lasts exactly as long) and a naive
// twin that counts second by second; random sequences: fine steps equal one step, a fork goes on
// identically. No measurement of a real battery was compared.
//
// A simulation does not replace the tests that the local code and a licensed practitioner require.
package power
