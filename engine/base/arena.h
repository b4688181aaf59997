#pragma once
// Bump allocator for one request: everything is freed at once. Objects must be trivially
// destructible. Not thread safe. Past its limit it throws std::bad_alloc, which the edge of the
// core turns into kLimit.

#include <algorithm>
#include <cstddef>
#include <cstring>
#include <memory>
#include <new>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

namespace engine::base {

class Arena {
 public:
  explicit Arena(std::size_t limit_bytes = static_cast<std::size_t>(-1))
      : limit_bytes_(limit_bytes) {}
  Arena(Arena&&) = default;
  Arena& operator=(Arena&&) = default;
  Arena(const Arena&) = delete;
  Arena& operator=(const Arena&) = delete;

  void* allocate(std::size_t bytes, std::size_t align) {
    std::size_t at = (used_ + align - 1) & ~(align - 1);
    if (blocks_.empty() || at > block_bytes_ || bytes > block_bytes_ - at) {
      grow(bytes);
      at = 0;
    }
    used_ = at + bytes;
    return blocks_.back().get() + at;
  }

  template <class T, class... Args>
  T* make(Args&&... args) {
    static_assert(std::is_trivially_destructible_v<T>, "the arena runs no destructors");
    return new (allocate(sizeof(T), alignof(T))) T{std::forward<Args>(args)...};
  }

  // An uninitialised array of a trivial type.
  template <class T>
  T* make_array(std::size_t count) {
    static_assert(std::is_trivially_destructible_v<T>);
    if (count > static_cast<std::size_t>(-1) / sizeof(T)) {
      throw std::bad_alloc();
    }
    return static_cast<T*>(allocate(sizeof(T) * count, alignof(T)));
  }

  // A copy of the text that lives as long as the arena.
  std::string_view copy(std::string_view text) {
    char* to = make_array<char>(text.size() + 1);
    if (!text.empty()) {  // an empty view may hold no pointer, which memcpy must not be given
      std::memcpy(to, text.data(), text.size());
    }
    to[text.size()] = '\0';
    return {to, text.size()};
  }

  // Forgets everything; keeps the largest block for the next request.
  void reset() {
    if (blocks_.size() > 1) {
      std::unique_ptr<char[]> last = std::move(blocks_.back());
      blocks_.clear();
      blocks_.push_back(std::move(last));
      total_bytes_ = block_bytes_;
    }
    used_ = 0;
  }

  std::size_t total_bytes() const { return total_bytes_; }

 private:
  static constexpr std::size_t kFirstBlockBytes = 16 * 1024;

  void grow(std::size_t need) {
    const std::size_t left = limit_bytes_ - total_bytes_;
    if (need > left) {
      throw std::bad_alloc();
    }
    // Near the limit the last block is as large as what is left.
    const std::size_t wished = blocks_.empty() ? kFirstBlockBytes : block_bytes_ * 2;
    const std::size_t size = std::max(need, std::min(wished, left));
    blocks_.push_back(std::unique_ptr<char[]>(new char[size]));
    block_bytes_ = size;
    total_bytes_ += size;
    used_ = 0;
  }

  std::vector<std::unique_ptr<char[]>> blocks_;
  std::size_t block_bytes_ = 0;
  std::size_t used_ = 0;
  std::size_t total_bytes_ = 0;
  std::size_t limit_bytes_;
};

}  // namespace engine::base
