#pragma once
// ENGINE_CHECK: a fact that only a bug of ours can break. On in every build: it prints the place
// and aborts, and the journal makes that safe. No input may ever reach a failing check.

namespace engine::base {
[[noreturn]] void check_failed(const char* condition, const char* file, int line);
}  // namespace engine::base

#define ENGINE_CHECK(condition)                        \
  (static_cast<bool>(condition) ? static_cast<void>(0) \
                                : ::engine::base::check_failed(#condition, __FILE__, __LINE__))
