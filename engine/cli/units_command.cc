// chartferry units: units of measure by UCUM, for people and, with --batch, for programs.

#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/cli/batch.h"
#include "engine/cli/commands.h"
#include "engine/cli/read_file.h"
#include "engine/cli/ucum_essence.h"
#include "engine/json/write.h"
#include "engine/ucum/ucum.h"

namespace engine::cli {
namespace {

using base::Decimal;
using base::Error;
using base::ErrorCode;
using base::Result;
using ucum::UnitTable;

// Plain digits; with an exponent where they would run to hundreds of zeros.
std::string number_text(const Decimal& value) {
  constexpr int kPlainExponent = 40;
  if (value.exponent() > -kPlainExponent && value.exponent() < kPlainExponent) {
    return value.to_string();
  }
  return Decimal(value.coefficient(), 0).to_string() + "e" + std::to_string(value.exponent());
}

// --- Batch

Result<Decimal> number_at(const json::Node& request, std::string_view member) {
  const json::Node* const node = request.find(member);
  if (node == nullptr || !(node->is_number() || node->is_string())) {
    return Error{ErrorCode::kInvalid, "a number is expected", std::string(member)};
  }
  Result<Decimal> value = Decimal::parse(node->text());
  if (!value) {
    return Error{value.error().code, value.error().detail, std::string(member)};
  }
  return value;
}

Result<std::string_view> text_at(const json::Node& request, std::string_view member) {
  const json::Node* const node = request.find(member);
  if (node == nullptr || !node->is_string()) {
    return Error{ErrorCode::kInvalid, "a text is expected", std::string(member)};
  }
  return node->text();
}

void append_value(const Decimal& value, std::string& out) {
  out += R"(,"value":)" + number_text(value);
}

Result<void> answer_validate(const UnitTable& table, const json::Node& request, std::string& out) {
  const Result<std::string_view> code = text_at(request, "unit");
  if (!code) {
    return code.error();
  }
  const Result<void> valid = table.validate(*code);
  out += valid ? R"(,"valid":true)" : R"(,"valid":false)";
  if (!valid) {
    append_member("reason", valid.error().text(), out);
    if (const std::string better = table.suggest(*code); !better.empty()) {
      append_member("suggestion", better, out);
    }
  } else if (const ucum::Suspicion* const suspicion = ucum::suspect(*code); suspicion != nullptr) {
    append_member("means", suspicion->means, out);
    append_member("probably", suspicion->probably, out);
  }
  return {};
}

Result<void> answer_convert(const UnitTable& table, const json::Node& request, std::string& out) {
  const Result<Decimal> value = number_at(request, "value");
  const Result<std::string_view> from = text_at(request, "from");
  const Result<std::string_view> to = text_at(request, "to");
  if (!value || !from || !to) {
    return !value ? value.error() : (!from ? from.error() : to.error());
  }
  const Result<Decimal> converted = table.convert(*value, *from, *to);
  if (!converted) {
    return converted.error();
  }
  append_value(*converted, out);
  return {};
}

Result<ucum::Quantity> quantity_of(const UnitTable& table, const Result<Decimal>& value,
                                   const Result<std::string_view>& code) {
  if (!value || !code) {
    return !value ? value.error() : code.error();
  }
  Result<ucum::Unit> unit = table.parse(*code);
  if (!unit) {
    return std::move(unit).error();
  }
  return ucum::Quantity{*value, std::move(*unit)};
}

Result<void> answer_product(const UnitTable& table, const json::Node& request, bool inverse,
                            std::string& out) {
  const Result<ucum::Quantity> a =
      quantity_of(table, number_at(request, "v1"), text_at(request, "u1"));
  const Result<ucum::Quantity> b =
      quantity_of(table, number_at(request, "v2"), text_at(request, "u2"));
  if (!a || !b) {
    return !a ? a.error() : b.error();
  }
  const Result<ucum::Quantity> product = inverse ? ucum::divide(*a, *b) : ucum::multiply(*a, *b);
  if (!product) {
    return product.error();
  }
  append_value(product->value, out);
  append_member("unit", table.canonical_code(product->unit), out);
  return {};
}

Result<void> answer_display(const UnitTable& table, const json::Node& request, std::string& out) {
  const Result<std::string_view> code = text_at(request, "unit");
  if (!code) {
    return code.error();
  }
  const Result<std::string> words = table.display(*code);
  if (!words) {
    return words.error();
  }
  append_member("display", *words, out);
  return {};
}

Result<void> answer(const UnitTable& table, const json::Node& request, std::string& out) {
  const std::string_view op = request.string_at("op");
  if (op == "validate") {
    return answer_validate(table, request, out);
  }
  if (op == "convert") {
    return answer_convert(table, request, out);
  }
  if (op == "multiply" || op == "divide") {
    return answer_product(table, request, op == "divide", out);
  }
  if (op == "display") {
    return answer_display(table, request, out);
  }
  return Error{ErrorCode::kInvalid, "op is one of validate, convert, multiply, divide, display"};
}

// --- For people

int complain(const Error& error) {
  std::fprintf(stderr, "chartferry units: %s\n", error.text().c_str());
  return kUsage;
}

int wrong_count(std::string_view usage) {
  std::fprintf(stderr, "usage: chartferry units %.*s\n", static_cast<int>(usage.size()),
               usage.data());
  return kUsage;
}

// A unit that is wrong or does not match is an answer, "no"; a number that cannot be read is a
// wrong use.
int exit_status(const Error& error) {
  complain(error);
  return error.code == ErrorCode::kOutOfRange || error.code == ErrorCode::kUnitMismatch ? kNo
                                                                                        : kUsage;
}

int validate(const UnitTable& table, const std::vector<std::string>& codes) {
  if (codes.empty()) {
    return wrong_count("validate CODE ...");
  }
  int status = kOk;
  for (const std::string& code : codes) {
    const Result<ucum::Unit> unit = table.parse(code);
    if (!unit) {
      std::printf("%-16s no   %s\n", code.c_str(), unit.error().text().c_str());
      status = kNo;
      continue;
    }
    const Result<std::string> words = table.display(code);
    std::printf("%-16s yes  %s", code.c_str(), words ? words->c_str() : "");
    if (const ucum::Suspicion* const suspicion = ucum::suspect(code); suspicion != nullptr) {
      std::printf("  (%s; was %s meant?)", std::string(suspicion->means).c_str(),
                  std::string(suspicion->probably).c_str());
    }
    std::printf("\n");
  }
  return status;
}

int convert(const UnitTable& table, const std::vector<std::string>& words) {
  if (words.size() != 3) {
    return wrong_count("convert VALUE FROM TO");
  }
  const Result<Decimal> value = Decimal::parse(words[0]);
  if (!value) {
    return complain(value.error());
  }
  const Result<Decimal> converted = table.convert(*value, words[1], words[2]);
  if (!converted) {
    return exit_status(converted.error());
  }
  std::printf("%s %s\n", number_text(*converted).c_str(), words[2].c_str());
  return kOk;
}

Result<ucum::Quantity> quantity_at(const UnitTable& table, const std::vector<std::string>& words,
                                   std::size_t at) {
  return quantity_of(table, Decimal::parse(words[at]), std::string_view(words[at + 1]));
}

int print_quantity(const UnitTable& table, const Result<ucum::Quantity>& quantity) {
  if (!quantity) {
    return exit_status(quantity.error());
  }
  std::printf("%s %s\n", number_text(quantity->value).c_str(),
              table.canonical_code(quantity->unit).c_str());
  return kOk;
}

int binary(const UnitTable& table, std::string_view verb, const std::vector<std::string>& words) {
  if (words.size() != 4) {
    return wrong_count(std::string(verb) + " VALUE UNIT VALUE UNIT");
  }
  const Result<ucum::Quantity> a = quantity_at(table, words, 0);
  const Result<ucum::Quantity> b = quantity_at(table, words, 2);
  if (!a || !b) {
    return complain(!a ? a.error() : b.error());
  }
  if (verb != "compare") {
    return print_quantity(table, verb == "divide" ? ucum::divide(*a, *b) : ucum::multiply(*a, *b));
  }
  const Result<std::strong_ordering> order = ucum::compare(*a, *b);
  if (!order) {
    return exit_status(order.error());
  }
  std::printf("%s\n", *order < 0 ? "less" : (*order > 0 ? "greater" : "equal"));
  return kOk;
}

int canonical(const UnitTable& table, const std::vector<std::string>& words) {
  if (words.size() != 2) {
    return wrong_count("canonical VALUE UNIT");
  }
  const Result<ucum::Quantity> quantity = quantity_at(table, words, 0);
  return print_quantity(table, quantity ? ucum::canonical(*quantity) : quantity);
}

Result<UnitTable> load_table(const std::string& file) {
  const Result<std::string> bytes = read_file(file, base::limits::kBodyBytesMax);
  if (!bytes) {
    return bytes.error();
  }
  return read_ucum_essence(*bytes);
}

}  // namespace

int run_units(int argc, char** argv) {
  CLI::App app{"Units of measure by UCUM: is a code valid, what is a value in another unit.",
               "chartferry units"};
  bool batch = false;
  std::string file;
  app.add_flag("--batch", batch, "JSON lines on standard input, one answer a line");
  app.add_option("--ucum", file, "use this ucum-essence.xml instead of the built-in table");
  struct Verb {
    const char* name;
    const char* purpose;
  };
  static constexpr Verb kVerbs[] = {
      {"validate", "CODE ...: which of them are units, and what they mean"},
      {"convert", "VALUE FROM TO: the value in another unit"},
      {"multiply", "VALUE UNIT VALUE UNIT: the product in base units"},
      {"divide", "VALUE UNIT VALUE UNIT: the quotient in base units"},
      {"compare", "VALUE UNIT VALUE UNIT: less, equal or greater"},
      {"canonical", "VALUE UNIT: the value in base units"},
  };
  for (const Verb& verb : kVerbs) {
    // Values may be negative, so what follows the verb is not searched for options.
    app.add_subcommand(verb.name, verb.purpose)->prefix_command();
  }
  app.require_subcommand(0, 1);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  std::optional<UnitTable> loaded;
  if (!file.empty()) {
    Result<UnitTable> table = load_table(file);
    if (!table) {
      return complain(table.error());
    }
    loaded.emplace(std::move(*table));
  }
  const UnitTable& table = loaded ? *loaded : UnitTable::standard();
  if (batch) {
    json::NameTable names;
    return run_batch(names, [&table](const json::Node& request, std::string& out) {
      return answer(table, request, out);
    });
  }
  if (app.get_subcommands().empty()) {
    std::fprintf(stderr, "%s", app.help().c_str());
    return kUsage;
  }
  const CLI::App& chosen = *app.get_subcommands().front();
  const std::vector<std::string> words = chosen.remaining();
  const std::string verb = chosen.get_name();
  if (verb == "validate") {
    return validate(table, words);
  }
  if (verb == "convert") {
    return convert(table, words);
  }
  return verb == "canonical" ? canonical(table, words) : binary(table, verb, words);
}

}  // namespace engine::cli
