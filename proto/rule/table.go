package rule

// Names of the limits. Each ends in its unit.
const (
	LoopResistance  = "loop_resistance_ohm"
	LoopCapacitance = "loop_capacitance_uf"
	LoopLength      = "loop_length_m"
	DeviceVoltage   = "device_voltage_v"
	IsolatorSpacing = "devices_between_isolators_count"
	ZonesLost       = "zones_lost_count"
	DevicesLost     = "devices_lost_count"
	FireInputsLost  = "fire_inputs_lost_count"
	AreaLost        = "area_lost_m2"
	BesideLost      = "devices_lost_beside_count"
	ZoneArea        = "zone_area_m2"
	OneZoneArea     = "one_zone_building_m2"

	DetectorTarget  = "detector_target_s"
	CallPointTarget = "call_point_target_s"
	DialledWithin   = "dialler_receipt_s"

	FaultTime        = "fault_s"
	MainsFault       = "mains_fault_s"
	ChargerFault     = "charger_fault_s"
	BatteryFault     = "battery_fault_s"
	LowBatteryFault  = "low_battery_fault_s"
	FaultSoundsAgain = "fault_sounds_again_h"

	AcknowledgeWithin = "acknowledge_within_s"
	Investigation     = "investigation_s"
	VerificationAdds  = "verification_adds_s"
	VerificationWait  = "verification_window_s"
	ReadyToConfirm    = "ready_to_confirm_s"
	FirstSignalDrops  = "first_signal_drops_min"
	DelayInAll        = "delay_in_all_min"

	ProofOfFan    = "proof_fan_s"
	ProofOfDamper = "proof_damper_s"
	Proof         = "proof_s"

	StartVoltage    = "start_voltage_v"
	LoadVoltage     = "load_voltage_v"
	BatteryStandby  = "battery_standby_h"
	BatteryAlarm    = "battery_alarm_min"
	BatteryVoice    = "battery_voice_alarm_min"
	BatteryMargin   = "battery_margin_percent"
	BatteryHighRate = "battery_high_rate_percent"

	DischargeDelay = "discharge_delay_s"
)

// Editions of nfpa72 from which a limit changed.
const (
	// DefaultEdition applies where the file gives none.
	DefaultEdition = 2022
	zoneRule       = 2016 // one zone for one fault, where 50 devices stood before
	quarterMargin  = 2022 // battery margin of a quarter, where a fifth stood before
)

var (
	nfpa72 = []string{"nfpa72"}
	en54   = []string{"en54"}
	bs5839 = []string{"bs5839-1"}
	europe = []string{"en54", "bs5839-1"}
)

// Table lists every figure of the packs and of the trade, in the order in which they are printed. Rows
// of one name differ in pack or edition. A row without packs applies everywhere. Where only the standards of one side
// of the ocean give a figure, the other side's packs have the same as common practice: a site is never
// held against a standard that it does not name.
func Table() []Limit {
	return []Limit{
		// The loop as a circuit.
		{Name: LoopResistance, Unit: "ohm", Value: 40, Confidence: CommonPractice},
		{Name: LoopCapacitance, Unit: "uF", Value: 0.36, Confidence: CommonPractice},
		{Name: LoopLength, Unit: "m", Value: 1500, Confidence: CommonPractice},
		{Name: DeviceVoltage, Unit: "V", Value: 17, Confidence: CommonPractice},
		{Name: IsolatorSpacing, Value: 20, Confidence: CommonPractice},

		// What one fault may take away, and how large a zone may be.
		{Name: ZonesLost, Value: 1, Packs: nfpa72, From: zoneRule, Standard: "NFPA 72 23.6.1 (2016 on)", Confidence: Confirmed},
		{Name: DevicesLost, Value: 50, Packs: nfpa72, Before: zoneRule, Standard: "NFPA 72 23.6.1 (2013)", Confidence: FromMemory},
		{Name: FireInputsLost, Value: 32, Packs: en54, Standard: "CEN/TS 54-14 and EN 54-2 12.5", Confidence: FromMemory},
		{Name: AreaLost, Unit: "m2", Value: 2000, Packs: bs5839, Standard: "BS 5839-1:2025 and earlier", Confidence: Confirmed},
		{Name: BesideLost, Value: 5, Packs: bs5839, Standard: "BS 5839-1:2025 and earlier", Confidence: Confirmed},
		{Name: ZoneArea, Unit: "m2", Value: 2000, Packs: europe, Standard: "BS 5839-1 13", Confidence: FromMemory},
		{Name: OneZoneArea, Unit: "m2", Value: 300, Packs: europe, Standard: "BS 5839-1 13", Confidence: FromMemory},

		// From the device to the output.
		{Name: DetectorTarget, Unit: "s", Value: 10, Most: longest, Packs: nfpa72, Standard: "NFPA 72 10.11.1", Confidence: Confirmed},
		{Name: DetectorTarget, Unit: "s", Value: 10, Most: longest, Packs: europe, Standard: "EN 54-2 7.1", Confidence: FromMemory},
		{Name: CallPointTarget, Unit: "s", Value: 10, Most: longest, Packs: nfpa72, Standard: "NFPA 72 10.11.1", Confidence: Confirmed},
		{Name: CallPointTarget, Unit: "s", Value: 10, Most: longest, Packs: en54, Standard: "EN 54-2 7.7", Confidence: FromMemory},
		{Name: CallPointTarget, Unit: "s", Value: 3, Most: longest, Packs: bs5839, Standard: "BS 5839-1 (call point to the sounder of its own area)", Confidence: Confirmed},
		{Name: DialledWithin, Unit: "s", Value: 90, Most: longest, Packs: nfpa72, Standard: "NFPA 72 26.6.3", Confidence: Confirmed},
		{Name: DialledWithin, Unit: "s", Value: 90, Most: longest, Packs: europe, Confidence: CommonPractice},

		// From a fault to its indication.
		{Name: FaultTime, Unit: "s", Value: 200, Most: longest, Packs: nfpa72, Standard: "NFPA 72 chapter 10", Confidence: Confirmed},
		{Name: FaultTime, Unit: "s", Value: 100, Most: longest, Packs: europe, Standard: "EN 54-2 8.1", Confidence: FromMemory},
		{Name: MainsFault, Unit: "s", Value: 200, Most: longest, Packs: nfpa72, Standard: "NFPA 72 chapter 10", Confidence: Confirmed},
		{Name: MainsFault, Unit: "s", Value: 1800, Most: longest, Packs: europe, Standard: "EN 54-4 5.4, BS 5839-1 12", Confidence: FromMemory},
		{Name: ChargerFault, Unit: "s", Value: 200, Most: longest, Packs: nfpa72, Standard: "NFPA 72 chapter 10", Confidence: Confirmed},
		{Name: ChargerFault, Unit: "s", Value: 1800, Most: longest, Packs: europe, Standard: "EN 54-4 5.4, BS 5839-1 12", Confidence: FromMemory},
		{Name: BatteryFault, Unit: "s", Value: 200, Most: longest, Packs: nfpa72, Standard: "NFPA 72 chapter 10", Confidence: Confirmed},
		{Name: BatteryFault, Unit: "s", Value: 900, Most: longest, Packs: europe, Standard: "EN 54-4 5.4, BS 5839-1 12", Confidence: FromMemory},
		{Name: LowBatteryFault, Unit: "s", Value: 200, Most: longest, Packs: nfpa72, Standard: "NFPA 72 chapter 10", Confidence: Confirmed},
		{Name: LowBatteryFault, Unit: "s", Value: 1800, Most: longest, Packs: europe, Standard: "EN 54-4 5.4, BS 5839-1 12", Confidence: FromMemory},
		{Name: FaultSoundsAgain, Unit: "h", Value: 24, Most: 200, Packs: nfpa72, Standard: "NFPA 72 chapter 10 (2019)", Confidence: Confirmed},
		{Name: FaultSoundsAgain, Unit: "h", Value: 24, Most: 200, Packs: europe, Confidence: CommonPractice},

		// Decisions before the alarm, and delays after it. That a panel lets a delay be set in steps of at most a minute
		// (EN 54-2 7.11) is no figure of a site.
		{Name: AcknowledgeWithin, Unit: "s", Value: 15, Most: longest, Packs: nfpa72, Standard: "NFPA 72 23.8.1", Confidence: Confirmed},
		{Name: AcknowledgeWithin, Unit: "s", Value: 15, Most: longest, Packs: europe, Confidence: CommonPractice},
		{Name: Investigation, Unit: "s", Value: 180, Most: longest, Packs: nfpa72, Standard: "NFPA 72 23.8.1", Confidence: Confirmed},
		{Name: Investigation, Unit: "s", Value: 180, Most: longest, Packs: europe, Confidence: CommonPractice},
		{Name: VerificationAdds, Unit: "s", Value: 60, Most: longest, Packs: nfpa72, Standard: "NFPA 72 23.8.5.4", Confidence: FromMemory},
		{Name: VerificationAdds, Unit: "s", Value: 60, Most: longest, Packs: europe, Confidence: CommonPractice},
		{Name: VerificationWait, Unit: "s", Value: 60, Most: longest, Packs: nfpa72, Standard: "UL 864, UL 268", Confidence: FromMemory},
		{Name: VerificationWait, Unit: "s", Value: 60, Most: longest, Packs: europe, Confidence: CommonPractice},
		{Name: ReadyToConfirm, Unit: "s", Value: 60, Most: longest, Packs: europe, Standard: "EN 54-2 7.12.1", Confidence: FromMemory},
		{Name: ReadyToConfirm, Unit: "s", Value: 60, Most: longest, Packs: nfpa72, Confidence: CommonPractice},
		{Name: FirstSignalDrops, Unit: "min", Value: 30, Most: 60_000, Packs: europe, Standard: "EN 54-2 7.12", Confidence: FromMemory},
		{Name: FirstSignalDrops, Unit: "min", Value: 30, Most: 60_000, Packs: nfpa72, Confidence: CommonPractice},
		{Name: DelayInAll, Unit: "min", Value: 10, Most: 60_000, Packs: europe, Standard: "EN 54-2 7.11", Confidence: FromMemory},
		{Name: DelayInAll, Unit: "min", Value: 10, Most: 60_000, Packs: nfpa72, Confidence: CommonPractice},

		// From a command to its proof.
		{Name: ProofOfFan, Unit: "s", Value: 60, Most: longest, Packs: nfpa72, Standard: "NFPA 92", Confidence: FromMemory},
		{Name: ProofOfFan, Unit: "s", Value: 60, Most: longest, Packs: europe, Confidence: CommonPractice},
		{Name: ProofOfDamper, Unit: "s", Value: 75, Most: longest, Packs: nfpa72, Standard: "NFPA 92", Confidence: FromMemory},
		{Name: ProofOfDamper, Unit: "s", Value: 75, Most: longest, Packs: europe, Confidence: CommonPractice},
		{Name: Proof, Unit: "s", Value: 200, Most: longest, Packs: nfpa72, Standard: "UL 864", Confidence: FromMemory},
		{Name: Proof, Unit: "s", Value: 200, Most: longest, Packs: europe, Confidence: CommonPractice},

		// Circuits and supplies.
		{Name: StartVoltage, Unit: "V", Value: 20.4, Most: 60, Packs: nfpa72, Standard: "0.85 x 24 V, NFPA 72 10.3", Confidence: Confirmed},
		{Name: StartVoltage, Unit: "V", Value: 21, Most: 60, Packs: europe, Standard: "1.75 V a cell", Confidence: CommonPractice},
		{Name: LoadVoltage, Unit: "V", Value: 16, Most: 60, Packs: nfpa72, Standard: "UL 464, UL 1971", Confidence: Confirmed},
		{Name: LoadVoltage, Unit: "V", Value: 18, Most: 60, Packs: europe, Confidence: CommonPractice},
		{Name: BatteryStandby, Unit: "h", Value: 24, Most: 200, Packs: nfpa72, Standard: "NFPA 72 10.6.7", Confidence: Confirmed},
		{Name: BatteryStandby, Unit: "h", Value: 24, Most: 200, Packs: europe, Standard: "BS 5839-1 25", Confidence: Confirmed},
		{Name: BatteryAlarm, Unit: "min", Value: 5, Most: 300, Packs: nfpa72, Standard: "NFPA 72 10.6.7", Confidence: Confirmed},
		{Name: BatteryAlarm, Unit: "min", Value: 30, Most: 300, Packs: europe, Standard: "BS 5839-1 25", Confidence: Confirmed},
		{Name: BatteryVoice, Unit: "min", Value: 15, Most: 300, Packs: nfpa72, Standard: "NFPA 72 10.6.7", Confidence: Confirmed},
		{Name: BatteryMargin, Unit: "percent", Value: 120, Most: 200, Packs: nfpa72, Before: quarterMargin, Standard: "NFPA 72 10.6.7", Confidence: Confirmed},
		{Name: BatteryMargin, Unit: "percent", Value: 125, Most: 200, Packs: nfpa72, From: quarterMargin, Standard: "NFPA 72 10.6.7 (2022 on)", Confidence: Confirmed},
		{Name: BatteryMargin, Unit: "percent", Value: 125, Most: 200, Packs: europe, Standard: "BS 5839-1, annex on battery capacity", Confidence: Confirmed},
		{Name: BatteryHighRate, Unit: "percent", Value: 175, Most: 300, Packs: europe, Standard: "BS 5839-1, annex on battery capacity", Confidence: Confirmed},

		{Name: DischargeDelay, Unit: "s", Value: 20, Most: 600, Standard: "guide specifications for CO2: 20 s to 30 s", Confidence: Confirmed},
	}
}

// longest is the greatest time that a file may put in place of one, seconds.
const longest = 1e6
