// Package loopdrillv1 is the schema of everything loopdrill reads and answers: site files,
// scenarios, findings, reports and the API. A YAML file is the message of the same name, field for
// field.
//
// What a layer cannot simulate it refuses; it ignores nothing that the schema can say. Shape and
// ranges of single fields are rules in the .proto files beside this one; what ties fields together
// (references, unique names) is judged above. All other Go files here are generated from those
// .proto files, which CI checks.
package loopdrillv1
