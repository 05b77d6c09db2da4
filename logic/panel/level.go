package panel

// Level is an access level, 1 to 3 (EN 54-2 and ISO 7240-2, from memory: what anybody may work,
// what a trained person may, what a technician may). 0 is the bench itself.
type Level uint8

// The levels that operations need which do not say their own.
const (
	Anybody Level = 1
	Trained Level = 2
)

// May reports whether somebody at the level may work what needs another. Nothing is refused to the
// bench itself.
func (l Level) May(need Level) bool { return l == 0 || l >= need }

// LevelOf returns the level that a file has for a key, or the default where it gives none.
func LevelOf(given bool, level uint32) Level {
	if !given {
		return Trained
	}
	return Level(level)
}
