#pragma once
// The limits of the patient's sheet (docs/sheet.md): a part of base/limits.h that only this folder
// and the ward file read.

#include <chrono>
#include <cstddef>
#include <cstdint>

namespace engine::base::limits {

// A day in the ward; the therapist who comes next day hands out the next one.
inline constexpr std::chrono::seconds kSheetLifetime{24 * 3'600};
// What was ticked before the link ended, on a phone without a network, is still taken so long.
inline constexpr std::chrono::seconds kSheetGrace{12 * 3'600};
// What was done before the sheet was handed out may be ticked too, for so long.
inline constexpr std::chrono::seconds kSheetBack{12 * 3'600};
// A phone's clock is corrected by the engine's; what is left of the difference.
inline constexpr std::chrono::seconds kSheetAhead{5 * 60};
// 28 characters of 5 bits: 140 bits, which nobody guesses.
inline constexpr std::size_t kSheetTokenChars = 28;
// What a request by a link may hold: a token and some dozens of entries.
inline constexpr std::size_t kSheetBodyBytesMax = 32 * 1024;
inline constexpr std::size_t kSheetEntriesAtOnceMax = 50;
// Of one link. Four sets in each of sixteen waking hours, with a reading each, are 128.
inline constexpr std::size_t kSheetEntriesMax = 300;
// Open links of one patient: a phone, one of the family, one that was lost.
inline constexpr std::size_t kSheetsOfPatientMax = 8;
// Wrong links in one window: of one address, and of all. Beyond them they are not journalled.
inline constexpr std::chrono::seconds kSheetTriesWindow{15 * 60};
inline constexpr std::uint32_t kSheetTriesOfAddressMax = 20;
inline constexpr std::uint32_t kSheetTriesMax = 500;
// Before a wrong link is answered.
inline constexpr std::chrono::milliseconds kSheetDelay{1'000};
// Requests that are made anew when somebody else was first to write the session's next revision.
inline constexpr int kSheetTurnsMax = 5;
// When to stop and whom to call, in the ward file: lines that fit on a page of paper.
inline constexpr std::size_t kSheetLinesMax = 8;
inline constexpr std::size_t kSheetLineBytesMax = 300;

}  // namespace engine::base::limits
