#pragma once
// Result<T>: a value or an Error, never silently dropped.
// For failures of the world (input we cannot read, I/O, peers, limits). Data that is readable but
// wrong is a fhir::Issue, not an Error; our own mistakes are ENGINE_CHECK. Names follow
// std::expected, so that it can be swapped in when the compiler floor moves.

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <variant>

#include "engine/base/check.h"

namespace engine::base {

enum class ErrorCode : std::uint8_t {
  kInvalid,       // the input is not readable as what it should be
  kOutOfRange,    // a value outside what the type can hold
  kLimit,         // a bound of base/limits.h was reached
  kNotFound,      // a named thing does not exist
  kConflict,      // the thing exists already, with other content
  kUnsupported,   // a valid request that this build does not serve
  kUnitMismatch,  // units that cannot be compared or converted
  kCorrupt,       // stored data is not what was written
  kIo,            // disk or operating system
  kPeer,          // the other side of a connection
  kTimeout,
  kCancelled,
};

std::string_view name_of(ErrorCode code);

// What went wrong, in a sentence for the person who has to act. `where` names the place: a path in
// a document, "line:column" of a text, a file name. Carries no patient data.
struct Error {
  ErrorCode code;
  std::string detail;
  std::string where;

  Error(ErrorCode c, std::string d, std::string w = {})
      : code(c), detail(std::move(d)), where(std::move(w)) {}
  // "detail (where)", the form shown to people.
  std::string text() const;
};

template <class T>
class [[nodiscard]] Result {
 public:
  // Implicit on purpose: `return value;` and `return Error{...};` are the two ways out of a
  // function.
  Result(T value)
      : state_(std::in_place_index<0>, std::move(value)) {}  // NOLINT(google-explicit-constructor)
  Result(Error error)
      : state_(std::in_place_index<1>, std::move(error)) {}  // NOLINT(google-explicit-constructor)

  bool has_value() const { return state_.index() == 0; }
  explicit operator bool() const { return has_value(); }

  T& operator*() & { return value(); }
  const T& operator*() const& { return value(); }
  T&& operator*() && { return std::move(value()); }
  T* operator->() { return &value(); }
  const T* operator->() const { return &value(); }

  T& value() {
    auto* held = std::get_if<0>(&state_);
    ENGINE_CHECK(held != nullptr);
    return *held;
  }
  const T& value() const {
    auto* held = std::get_if<0>(&state_);
    ENGINE_CHECK(held != nullptr);
    return *held;
  }
  Error& error() {
    auto* held = std::get_if<1>(&state_);
    ENGINE_CHECK(held != nullptr);
    return *held;
  }
  const Error& error() const {
    auto* held = std::get_if<1>(&state_);
    ENGINE_CHECK(held != nullptr);
    return *held;
  }

 private:
  std::variant<T, Error> state_;
};

template <>
class [[nodiscard]] Result<void> {
 public:
  Result() = default;
  Result(Error error)
      : state_(std::in_place_index<1>, std::move(error)) {}  // NOLINT(google-explicit-constructor)

  bool has_value() const { return state_.index() == 0; }
  explicit operator bool() const { return has_value(); }
  Error& error() {
    auto* held = std::get_if<1>(&state_);
    ENGINE_CHECK(held != nullptr);
    return *held;
  }
  const Error& error() const {
    auto* held = std::get_if<1>(&state_);
    ENGINE_CHECK(held != nullptr);
    return *held;
  }

 private:
  std::variant<std::monostate, Error> state_;
};

}  // namespace engine::base
