package sim

// Caution says what a simulation does not replace. Every report and every help page carries it.
const Caution = "A simulation is a bench, not a certificate: it does not replace the tests that the local code and a licensed practitioner require."
