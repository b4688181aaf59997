#include "sandbox/record_server/capability.h"

#include <array>

#include "engine/json/write.h"
#include "sandbox/record_server/resource_types.h"

namespace sandbox::record_server {
namespace {

std::string_view type_name(FactKind kind) {
  switch (kind) {
    case FactKind::kToken:
      return "token";
    case FactKind::kReference:
      return "reference";
    case FactKind::kDate:
      return "date";
    case FactKind::kText:
      return "string";
  }
  return "string";
}

std::string_view boolean(bool value) {
  return value ? "true" : "false";
}

std::string codes(std::initializer_list<std::string_view> values) {
  std::string out;
  for (const std::string_view value : values) {
    out += (out.empty() ? R"({"code":")" : R"(,{"code":")") + std::string(value) + "\"}";
  }
  return '[' + out + ']';
}

std::string describe_type(std::string_view type, const Abilities& abilities) {
  std::string out = R"({"type":")" + std::string(type) + R"(","interaction":)";
  out += codes({"read", "vread", "update", "delete", "history-instance", "history-type", "create",
                "search-type"});
  out += R"(,"versioning":"versioned-update","readHistory":true,"updateCreate":)";
  out += boolean(abilities.update_create);
  out += R"(,"conditionalCreate":)";
  out += boolean(abilities.conditional_create);
  out += R"(,"conditionalRead":"not-match","conditionalUpdate":)";
  out += boolean(abilities.conditional_update);
  out += R"(,"conditionalDelete":")";
  out += abilities.conditional_delete ? "single" : "not-supported";
  out += R"(","referencePolicy":["literal","logical","local")";
  out += abilities.enforce_references ? R"(,"enforced"],"searchParam":[)" : R"(],"searchParam":[)";
  bool first = true;
  for (const SearchParameter* parameter : parameters_of(type)) {
    out += first ? "" : ",";
    out += R"({"name":")" + std::string(parameter->name) + R"(","type":")" +
           std::string(type_name(parameter->kind)) + "\"}";
    first = false;
  }
  return out + "]}";
}

}  // namespace

std::string capability_statement(const Context& context) {
  std::string out =
      R"({"resourceType":"CapabilityStatement","status":"active","date":"2026-11-25",)"
      R"("kind":"instance","software":{"name":"chartferry sandbox record server"},)"
      R"("implementation":{"description":"A small record server for demonstrations and tests",)"
      R"("url":)";
  engine::json::write_string(context.base_url, out);
  out += R"(},"fhirVersion":"4.0.1","format":["application/fhir+json","json"],)"
         R"("rest":[{"mode":"server","resource":[)";
  bool first = true;
  for (const std::string_view type : resource_types()) {
    out += (first ? "" : ",") + describe_type(type, context.abilities);
    first = false;
  }
  out += R"(],"interaction":)";
  const bool transaction = context.abilities.transaction;
  const bool batch = context.abilities.batch;
  out += transaction && batch ? codes({"transaction", "batch", "history-system"})
         : transaction        ? codes({"transaction", "history-system"})
         : batch              ? codes({"batch", "history-system"})
                              : codes({"history-system"});
  return out + "}]}";
}

}  // namespace sandbox::record_server
