package pitch

// The onset model, fitted on the reference sight-singing recordings (1240 marked notes).

var onsetWeights = [numOnset]float64{
	-9.9937, 0.9761, 1.1682, 0.3139, 1.8460, 1.5234, -1.7471, 0.9187, 0.7315, 3.0389,
	-1.6264, -0.9782, -0.6829, 0.0890, 0.9181, -1.2897, -0.3219, -0.2873, 2.4568, -3.7010,
	-2.5115, 0.8543, -1.3514, 1.4434, 2.5057, 1.5159, 1.7388, 0.6160, 0.9906,
}
