#include "engine/web/static_texts.h"

namespace engine::web {
namespace {

// OpenAPI 3.1. A test holds its paths against the table of routes.
constexpr std::string_view kText = R"json({
"openapi": "3.1.0",
"info": {"title": "chartferry", "version": "1",
 "description": "Takes therapy sessions in, checks them and lands them in a FHIR R4 record server. Every error is a FHIR OperationOutcome. With a people file every route but the pages, the descriptions, health and /sign-in answers 401 to strangers and 403 to those whose role may not."},
"security": [{"signIn": []}, {"token": []}],
"components": {
 "securitySchemes": {
  "signIn": {"type": "apiKey", "in": "cookie", "name": "__Host-chartferry", "description": "Of POST /sign-in; what changes anything needs an Origin header that names this server"},
  "token": {"type": "http", "scheme": "bearer", "description": "Of a system: chartferry people token"}},
 "parameters": {"readWhy": {"name": "Read-Why", "in": "header", "schema": {"type": "string"}, "description": "Why the caller reads, percent-encoded; kept in the journal. Needed from whom is no therapist"},
  "target": {"name": "id", "in": "path", "required": true, "schema": {"type": "string"}, "description": "The target's name"}, "id": {"name": "id", "in": "path", "required": true, "schema": {"type": "string", "format": "uuid"},
  "description": "The session's id: the UUID version 5 that a receipt names"}},
 "schemas": {
  "Me": {"type": "object", "required": ["signIn"], "properties": {"signIn": {"type": "boolean", "description": "The engine has a people file"}, "name": {"type": "string"}, "display": {"type": "string"}, "roles": {"type": "array", "items": {"enum": ["therapist", "engineer", "auditor", "operator", "sender", "watcher"]}}}},
  "Who": {"type": "object", "required": ["actor", "why"], "properties": {"actor": {"type": "string", "description": "Of an engine with sign-in: left aside for who signed in"}, "why": {"type": "string"}}},
  "Target": {"type": "object", "required": ["target", "state", "backlog", "mode", "limits", "inFlight"], "properties": {
   "target": {"type": "string"}, "state": {"enum": ["sending", "waiting", "paused"], "description": "waiting: the record server is away or busy and is tried again by itself; paused: by a person"},
   "reason": {"type": "string", "description": "Why it waits"},
   "pausedBy": {"type": "object", "properties": {"actor": {"type": "string"}, "why": {"type": "string"}, "since": {"type": "string", "format": "date-time"}, "position": {"type": "integer"}}},
   "backlog": {"type": "object", "description": "Revisions that have not ended, by state", "additionalProperties": {"type": "integer"}},
   "oldestWaiting": {"type": "string", "format": "date-time", "description": "When the oldest of them that is not held was taken in"},
   "lastLanding": {"type": "string", "format": "date-time"},
   "lastError": {"type": "object", "properties": {"code": {"type": "string"}, "time": {"type": "string", "format": "date-time"}, "status": {"type": "integer"}}},
   "mode": {"enum": ["transaction", "batch", "single"], "description": "How sessions get there, by the CapabilityStatement"}, "inFlight": {"type": "integer"},
   "limits": {"type": "object", "properties": {"inFlight": {"type": "integer"}, "requestsPerSecond": {"type": "number"}}}}},
  "Receipt": {"type": "object", "required": ["session", "revision", "state", "position", "received"], "properties": {
   "session": {"type": "string", "format": "uuid"}, "revision": {"type": "integer", "minimum": 1},
   "state": {"enum": ["accepted", "checked", "dispatched", "landed", "held", "superseded", "withdrawn"]},
   "position": {"type": "integer", "description": "Its place in the journal"},
   "received": {"type": "string", "format": "date-time"}}},
  "Leg": {"type": "object", "required": ["target", "state", "attempts"], "properties": {
   "target": {"type": "string"}, "state": {"type": "string"}, "reason": {"type": "string"},
   "reasonText": {"type": "string"}, "attempts": {"type": "integer"}, "next": {"type": "string", "format": "date-time"},
   "landing": {"type": "array", "items": {"type": "object", "properties": {"location": {"type": "string"}, "etag": {"type": "string"},
    "unproven": {"type": "boolean", "description": "What is there was not seen to be what was sent; the next revision looks before it writes over it"}}}},
   "conflict": {"type": "array", "description": "What somebody else did on the record server: held with the reason changed-elsewhere, or found when it landed",
    "items": {"type": "object", "required": ["fullUrl", "resource"], "properties": {"fullUrl": {"type": "string"}, "resource": {"type": "string"},
    "expected": {"type": "string", "description": "The version that landed"}, "found": {"type": "string", "description": "The version that is there"},
    "gone": {"type": "boolean", "description": "It was deleted there"}}}}}},
  "Session": {"type": "object", "required": ["session", "state", "revisions"], "properties": {
   "session": {"type": "string"}, "state": {"type": "string"}, "reason": {"type": "string"}, "reasonText": {"type": "string"},
   "revisions": {"type": "array", "items": {"type": "object", "properties": {
    "revision": {"type": "integer"}, "received": {"type": "string"}, "position": {"type": "integer"},
    "targets": {"type": "array", "items": {"$ref": "#/components/schemas/Leg"}}}}}}},
  "Identifier": {"type": "object", "required": ["value"], "properties": {"system": {"type": "string"}, "value": {"type": "string"}}},
  "Search": {"type": "object", "description": "Every condition may be left out", "properties": {
   "session": {"type": "string", "format": "uuid"}, "patient": {"$ref": "#/components/schemas/Identifier"}, "therapist": {"$ref": "#/components/schemas/Identifier"},
   "target": {"type": "string"}, "state": {"enum": ["accepted", "checked", "dispatched", "landed", "held", "superseded", "withdrawn"], "description": "Of messages"},
   "kind": {"type": "string", "description": "Of records: docs/formats/journal.md"},
   "since": {"type": "string", "format": "date-time"}, "until": {"type": "string", "format": "date-time"}, "before": {"type": "integer", "description": "A position"}}},
  "Record": {"type": "object", "required": ["position", "time", "kind"], "properties": {
   "position": {"type": "integer"}, "time": {"type": "string", "format": "date-time"}, "kind": {"type": "string"}, "session": {"type": "string"}, "revision": {"type": "integer"},
   "target": {"type": "string"}, "madeWith": {"type": "string"}, "reason": {"type": "string"}, "reasonText": {"type": "string"}, "status": {"type": "integer"},
   "attempt": {"type": "integer"}, "actor": {"type": "string"}, "why": {"type": "string"}}},
  "Message": {"type": "object", "required": ["session", "revision", "received", "document", "targets", "records", "left"], "properties": {
   "session": {"type": "string"}, "revision": {"type": "integer"}, "received": {"type": "string"}, "document": {"$ref": "/schema/session"},
   "targets": {"type": "array", "items": {"allOf": [{"$ref": "#/components/schemas/Leg"}, {"type": "object", "properties": {
    "bundle": {"type": "object"}, "lineage": {"type": "object", "description": "docs/mapping-guide.md"}, "outcome": {"$ref": "#/components/schemas/OperationOutcome"}, "answer": {"type": "string"}}}]}},
   "records": {"type": "array", "items": {"$ref": "#/components/schemas/Record"}}, "left": {"type": "array", "items": {"type": "string"}, "description": "Parts that are too large for this answer"}}},
  "Steer": {"type": "object", "required": ["why", "actor"], "properties": {"why": {"type": "string"},
   "actor": {"type": "string"}, "revision": {"type": "integer"}, "target": {"type": "string"}}},
  "OperationOutcome": {"type": "object", "description": "FHIR R4 OperationOutcome"}},
 "responses": {
  "Receipt": {"description": "Durable; the same again gives 200", "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Receipt"}}}},
  "Problem": {"description": "What was found, what is allowed, what to do", "content": {"application/fhir+json": {"schema": {"$ref": "#/components/schemas/OperationOutcome"}}}}}},
"paths": {
 "/sessions": {"post": {"summary": "Take a session in, or a later revision of it",
  "parameters": [{"name": "dry-run", "in": "query", "description": "Findings and outcome; nothing is kept", "schema": {"type": "boolean"}, "allowEmptyValue": true}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "/schema/session"}}}},
  "responses": {"202": {"$ref": "#/components/responses/Receipt"}, "200": {"$ref": "#/components/responses/Receipt"},
   "400": {"$ref": "#/components/responses/Problem"}, "409": {"$ref": "#/components/responses/Problem"}, "413": {"$ref": "#/components/responses/Problem"},
   "415": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}, "503": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}": {"get": {"summary": "Where a session is", "parameters": [{"$ref": "#/components/parameters/id"}],
  "responses": {"200": {"description": "Its revisions and their states", "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Session"}}}}, "404": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}/outcome": {"get": {"summary": "Why it is held, in full; the reading is journalled", "parameters": [{"$ref": "#/components/parameters/id"}, {"$ref": "#/components/parameters/readWhy"}],
  "responses": {"200": {"$ref": "#/components/responses/Problem"}, "404": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}/document": {"get": {"summary": "Its latest revision as it was sent; the reading is journalled", "parameters": [{"$ref": "#/components/parameters/id"}, {"$ref": "#/components/parameters/readWhy"}],
  "responses": {"200": {"description": "A session document", "content": {"application/json": {"schema": {"$ref": "/schema/session"}}}}, "404": {"$ref": "#/components/responses/Problem"}}}},
 "/history": {"post": {"summary": "The latest sessions of a patient, named in the body and never in an address; the reading is journalled",
  "parameters": [{"$ref": "#/components/parameters/readWhy"}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object", "required": ["value"], "properties": {"system": {"type": "string"}, "value": {"type": "string"}}}}}},
  "responses": {"200": {"description": "The latest revision of each session", "content": {"application/json": {"schema": {"type": "object", "properties": {"more": {"type": "boolean", "description": "Some were left out"}, "sessions": {"type": "array", "items": {"type": "object", "properties": {"session": {"type": "string"}, "revision": {"type": "integer"}, "received": {"type": "string"}, "state": {"type": "string"}, "document": {"$ref": "/schema/session"}}}}}}}}}, "400": {"$ref": "#/components/responses/Problem"}}}},
 "/ward": {"get": {"summary": "The site's patients with their orders, and its therapists (docs/formats/ward.md); the first reading of each state of it is journalled",
  "parameters": [{"$ref": "#/components/parameters/readWhy"}],
  "responses": {"200": {"description": "The ward file"}, "404": {"$ref": "#/components/responses/Problem"}, "503": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}/revisions": {"post": {"summary": "A correction, addition or withdrawal of a known session", "parameters": [{"$ref": "#/components/parameters/id"}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "/schema/session"}}}},
  "responses": {"202": {"$ref": "#/components/responses/Receipt"}, "404": {"$ref": "#/components/responses/Problem"}, "409": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}/release": {"post": {"summary": "Send a held one after all", "parameters": [{"$ref": "#/components/parameters/id"}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Steer"}}}},
  "responses": {"200": {"description": "Written down"}, "404": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}/remap": {"post": {"summary": "Translate a held one again with the mappings in force", "parameters": [{"$ref": "#/components/parameters/id"}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Steer"}}}},
  "responses": {"200": {"description": "Written down"}, "404": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}/withdraw": {"post": {"summary": "Give a held one up; it is never sent", "parameters": [{"$ref": "#/components/parameters/id"}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Steer"}}}},
  "responses": {"200": {"description": "Written down"}, "404": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}}}},
 "/sign-in": {"post": {"summary": "Sign in; a cookie comes back that pages cannot read", "security": [],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object", "required": ["name", "password"], "properties": {"name": {"type": "string"}, "password": {"type": "string"}}}}}},
  "responses": {"200": {"description": "Who that is", "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Me"}}}}, "400": {"$ref": "#/components/responses/Problem"}, "401": {"$ref": "#/components/responses/Problem"}, "403": {"$ref": "#/components/responses/Problem"}, "404": {"$ref": "#/components/responses/Problem"}, "413": {"$ref": "#/components/responses/Problem"}, "429": {"$ref": "#/components/responses/Problem"}, "503": {"$ref": "#/components/responses/Problem"}}}},
 "/sign-out": {"post": {"summary": "End this sign-in; other devices stay signed in",
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object"}}}},
  "responses": {"204": {"description": "Ended"}, "401": {"$ref": "#/components/responses/Problem"}, "403": {"$ref": "#/components/responses/Problem"}, "404": {"$ref": "#/components/responses/Problem"}}}},
 "/me": {"get": {"summary": "Whether a sign-in is needed, and who is signed in", "security": [],
  "responses": {"200": {"description": "Name and roles, of a stranger neither", "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Me"}}}}}}},
 "/targets": {"get": {"summary": "How each record server does; no patient data",
  "responses": {"200": {"description": "A list", "content": {"application/json": {"schema": {"type": "array", "items": {"$ref": "#/components/schemas/Target"}}}}}}}},
 "/targets/{id}/preflight": {"post": {"summary": "Ask the record server what it can do, with two reads; nothing is sent to it", "parameters": [{"$ref": "#/components/parameters/target"}],
  "requestBody": {"content": {"application/json": {"schema": {"type": "object"}}}},
  "responses": {"200": {"description": "What is there, what is not and what follows", "content": {"application/json": {"schema": {"type": "object", "properties": {"target": {"type": "string"}, "ready": {"type": "boolean"}, "abilities": {"type": "array", "items": {"type": "object", "properties": {"name": {"type": "string"}, "grade": {"enum": ["there", "absent", "needed"]}, "found": {"type": "string"}, "consequence": {"type": "string"}}}}}}}}}, "404": {"$ref": "#/components/responses/Problem"}, "409": {"$ref": "#/components/responses/Problem"}, "502": {"$ref": "#/components/responses/Problem"}}}},
 "/targets/{id}/pause": {"post": {"summary": "Send nothing to it until it is resumed; what is on its way ends", "parameters": [{"$ref": "#/components/parameters/target"}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Who"}}}},
  "responses": {"200": {"description": "Written down"}, "404": {"$ref": "#/components/responses/Problem"}, "409": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}}}},
 "/targets/{id}/resume": {"post": {"summary": "Go on sending to it", "parameters": [{"$ref": "#/components/parameters/target"}],
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Who"}}}},
  "responses": {"200": {"description": "Written down"}, "404": {"$ref": "#/components/responses/Problem"}, "409": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}}}},
 "/mapping": {"get": {"summary": "The mapping set in force, the one before, the one that waits with its shadow's counts, and what keeps changed files from being taken",
  "responses": {"200": {"description": "Sets by name and hash"}}}},
 "/mapping/approve": {"post": {"summary": "Put the waiting set in force",
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object", "required": ["set", "actor", "why"], "properties": {"set": {"type": "string"}, "actor": {"type": "string"}, "why": {"type": "string"}}}}}},
  "responses": {"200": {"description": "The sets now"}, "404": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}}}},
 "/mapping/roll-back": {"post": {"summary": "Put the set before in force again",
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object", "required": ["actor", "why"], "properties": {"actor": {"type": "string"}, "why": {"type": "string"}}}}}},
  "responses": {"200": {"description": "The sets now"}, "404": {"$ref": "#/components/responses/Problem"}, "422": {"$ref": "#/components/responses/Problem"}}}},
 "/sessions/{id}/revisions/{revision}": {"get": {"summary": "One message whole: the document, what was made of it and by which rule, what the record server said, the records; the reading is journalled",
  "parameters": [{"$ref": "#/components/parameters/id"}, {"name": "revision", "in": "path", "required": true, "schema": {"type": "integer", "minimum": 1}}],
  "responses": {"200": {"description": "The message", "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Message"}}}}, "404": {"$ref": "#/components/responses/Problem"}}}},
 "/traffic": {"get": {"summary": "The latest sessions and their states", "responses": {"200": {"description": "A list"}}},
  "post": {"summary": "Search among the accepted revisions, the latest first; a search by patient is journalled",
   "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Search"}}}},
   "responses": {"200": {"description": "At most 200, and where to go on", "content": {"application/json": {"schema": {"type": "object", "properties": {"messages": {"type": "array", "items": {"type": "object", "properties": {"session": {"type": "string"}, "revision": {"type": "integer"}, "received": {"type": "string"}, "position": {"type": "integer"}, "targets": {"type": "array", "items": {"$ref": "#/components/schemas/Leg"}}}}}, "next": {"type": "integer", "description": "To be sent as 'before' for what came earlier; absent at the end"}}}}}}, "400": {"$ref": "#/components/responses/Problem"}}}},
 "/log/proof": {"post": {"summary": "That a record lies in the signed tree: its head, its path to the root, the signed tree head (docs/formats/journal.md); the reading is journalled",
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object", "required": ["position"], "properties": {"position": {"type": "integer"}}}}}},
  "responses": {"200": {"description": "A proof that anybody can check", "content": {"application/json": {"schema": {"type": "object", "properties": {"position": {"type": "integer"}, "record": {"type": "string"}, "leaf": {"type": "string"}, "path": {"type": "array", "items": {"type": "string"}}, "treeHead": {"type": "object", "properties": {"size": {"type": "integer"}, "root": {"type": "string"}, "time": {"type": "string"}, "key": {"type": "string"}, "signature": {"type": "string"}}}}}}}}, "404": {"$ref": "#/components/responses/Problem"}, "409": {"$ref": "#/components/responses/Problem"}, "500": {"$ref": "#/components/responses/Problem"}}}},
 "/log/verify": {"post": {"summary": "Reads the whole journal and tells whether it is sound, as the command `journal verify` does; one at a time",
  "requestBody": {"content": {"application/json": {"schema": {"type": "object"}}}},
  "responses": {"200": {"description": "What was found", "content": {"application/json": {"schema": {"type": "object", "properties": {"sound": {"type": "boolean"}, "records": {"type": "integer"}, "parts": {"type": "integer"}, "bytes": {"type": "integer"}, "heads": {"type": "integer"}, "headsAgree": {"type": "integer"}, "root": {"type": "string"}, "faults": {"type": "array", "items": {"type": "string"}}, "remarks": {"type": "array", "items": {"type": "string"}}}}}}}, "409": {"$ref": "#/components/responses/Problem"}}}},
 "/log/replay": {"post": {"summary": "Makes the bundles of a time again with the set in force and compares them byte for byte, as the command `replay --verify` does; sends nothing; one at a time",
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object", "properties": {"since": {"type": "string", "format": "date-time"}, "until": {"type": "string", "format": "date-time"}}}}}},
  "responses": {"200": {"description": "What was found", "content": {"application/json": {"schema": {"type": "object", "properties": {"translations": {"type": "integer"}, "same": {"type": "integer"}, "otherSets": {"type": "object", "description": "Made with another mapping, profile or settings set or computation", "additionalProperties": {"type": "integer"}}, "faults": {"type": "array", "items": {"type": "object"}}}}}}}, "400": {"$ref": "#/components/responses/Problem"}, "409": {"$ref": "#/components/responses/Problem"}}}},
 "/log": {"post": {"summary": "The records of the journal, the latest first, with who did what and why; the reading is journalled",
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Search"}}}},
  "responses": {"200": {"description": "At most 200, and where to go on", "content": {"application/json": {"schema": {"type": "object", "properties": {"records": {"type": "array", "items": {"$ref": "#/components/schemas/Record"}}, "next": {"type": "integer"}}}}}}, "400": {"$ref": "#/components/responses/Problem"}}}},
 "/events": {"get": {"summary": "What is journalled, as it happens (server-sent events; Last-Event-ID is a position)", "responses": {"200": {"description": "text/event-stream"}}}},
 "/metrics": {"get": {"summary": "Prometheus text format", "responses": {"200": {"description": "Counters and gauges"}}}},
 "/health/live": {"get": {"summary": "The process answers", "responses": {"200": {"description": "live"}}}},
 "/health/ready": {"get": {"summary": "Sessions can be taken in", "responses": {"200": {"description": "ready"}, "503": {"$ref": "#/components/responses/Problem"}}}},
 "/metadata": {"get": {"summary": "CapabilityStatement", "responses": {"200": {"description": "CapabilityStatement"}}}},
 "/openapi.json": {"get": {"summary": "This document", "responses": {"200": {"description": "OpenAPI 3.1"}}}},
 "/schema/session": {"get": {"summary": "JSON Schema of the session document", "responses": {"200": {"description": "JSON Schema"}}}},
 "/model/session": {"get": {"summary": "Logical model of the session document", "responses": {"200": {"description": "StructureDefinition"}}}},
 "/plausibility": {"get": {"summary": "The table of plausible, improbable and impossible values", "responses": {"200": {"description": "A table"}}}}
},
"webhooks": {
 "outcome": {"post": {"summary": "Sent to the address that the site set up under [notices]: what became of a revision, in the journal's order, at least once; codes and ids only",
  "requestBody": {"required": true, "content": {"application/json": {"schema": {"type": "object", "required": ["event", "time", "session", "revision", "target", "state"], "properties": {"event": {"type": "integer", "description": "The record's position; the same event may come again, with the same body"}, "time": {"type": "string", "format": "date-time"}, "session": {"type": "string"}, "revision": {"type": "integer"}, "target": {"type": "string"}, "state": {"enum": ["landed", "held", "withdrawn", "superseded"]}, "reason": {"type": "string", "description": "A stable code"}}}}}},
  "responses": {"2XX": {"description": "Taken; the next one comes"}, "default": {"description": "Tried again, later and later, up to a minute; Retry-After is obeyed"}}}}
}
}
)json";

}  // namespace

std::string_view openapi_text() {
  return kText;
}

}  // namespace engine::web
