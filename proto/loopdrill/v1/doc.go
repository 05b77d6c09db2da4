// Package loopdrillv1 is the schema of everything loopdrill reads and answers: site files,
// scenarios and findings. A YAML file is the message of the same name, field for field.
//
// It carries more than the bench can simulate, so that a file need not change when the bench
// learns more; what cannot be simulated yet is refused by the layer that would have to do it.
// Shape and ranges of single fields are rules in the .proto files beside this one; what ties fields
// together (references, unique names) is judged above. All other Go files here are generated from
// those .proto files, which CI checks.
package loopdrillv1
